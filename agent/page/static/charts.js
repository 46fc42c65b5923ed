// Zooms and moves the charts of a sump, and reads them off. The charts themselves come from the
// server; while new ones are on their way, the old ones are stretched, so that a finger is followed
// at once.
"use strict";

(() => {
  const section = document.getElementById("charts");
  if (!section) { return; }
  for (const hint of section.querySelectorAll(".scripted")) { hint.hidden = false; }

  const LEAST = 10 * 60 * 1000;
  const MOST = 366 * 24 * 3600 * 1000;
  const REFRESH = 20000;
  let newest = Number(section.dataset.now);
  let follows = section.dataset.follows === "1";
  let drawn = Date.now();
  let wanted = null;
  let timer = 0;
  let running = null;

  const panels = () => document.getElementById("panels");
  const shown = () => ({ begin: Number(panels().dataset.begin), end: Number(panels().dataset.end) });
  const svgs = () => panels().querySelectorAll("svg");

  const edges = (svg) => ({ left: Number(svg.dataset.left), right: Number(svg.dataset.right) });
  const scale = (svg) => svg.viewBox.baseVal.width / svg.getBoundingClientRect().width;
  const momentAt = (svg, clientX, range) => {
    const { left, right } = edges(svg);
    const x = (clientX - svg.getBoundingClientRect().left) * scale(svg);
    return range.begin + ((x - left) / (right - left)) * (range.end - range.begin);
  };

  const within = (begin, end) => {
    const length = Math.min(Math.max(end - begin, LEAST), MOST);
    const middle = (begin + end) / 2;
    let from = middle - length / 2;
    if (from + length > newest) { from = newest - length; }
    from = Math.max(from, 0);
    return { begin: Math.round(from), end: Math.round(from + length) };
  };

  // Stretch what is drawn to the range that is wanted.
  const stretch = () => {
    const range = shown();
    for (const svg of svgs()) {
      const { left, right } = edges(svg);
      const width = right - left;
      const factor = (range.end - range.begin) / (wanted.end - wanted.begin);
      const shift = left + ((range.begin - wanted.begin) / (wanted.end - wanted.begin)) * width - left * factor;
      const plot = svg.querySelector(".plot");
      plot.setAttribute("transform", `translate(${shift} 0) scale(${factor} 1)`);
      svg.parentElement.classList.add("is-busy");
    }
  };

  const draw = async (quietly) => {
    if (running) { running.abort(); }
    running = new AbortController();
    const asked = wanted;
    const address = new URL(section.dataset.source, location.href);
    address.searchParams.set("begin", String(asked.begin));
    address.searchParams.set("end", String(asked.end));
    try {
      const answer = await fetch(address, { signal: running.signal, headers: { accept: "text/html" } });
      if (!answer.ok) { return; }
      const holder = document.createElement("template");
      holder.innerHTML = (await answer.text()).trim();
      const focused = [...svgs()].indexOf(document.activeElement);
      panels().replaceWith(holder.content.firstElementChild);
      wire();
      if (focused >= 0) { svgs()[focused].focus({ preventScroll: true }); }
      if (!quietly) {
        for (const chip of section.querySelectorAll(".chips [aria-current]")) { chip.removeAttribute("aria-current"); }
      }
    } catch (error) {
      if (error.name !== "AbortError") { throw error; }
    }
  };

  const go = (begin, end, wait) => {
    follows = false;
    wanted = within(begin, end);
    stretch();
    clearTimeout(timer);
    timer = setTimeout(() => draw(false), wait);
  };
  const current = () => wanted || shown();
  const zoom = (moment, factor, wait) => {
    const range = current();
    go(moment - (moment - range.begin) * factor, moment + (range.end - moment) * factor, wait);
  };

  // --- reading off: the nearest point of every chart, and what happened there ---
  const language = document.documentElement.lang;
  const moment = new Intl.DateTimeFormat(language === "en" ? "en-GB" : language, {
    timeZone: section.dataset.zone, weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", hourCycle: "h23",
  });
  const digitsFor = (span) => (span < 0.095 ? 2 : span < 0.95 ? 1 : 0);
  const told = (value, digits) =>
    new Intl.NumberFormat(language, { minimumFractionDigits: digits, maximumFractionDigits: digits, useGrouping: false })
      .format(value).replace("-", "−");
  const points = new WeakMap();
  const pointsOf = (svg) => {
    if (!points.has(svg)) {
      const begin = shown().begin;
      const parts = svg.dataset.readings ? svg.dataset.readings.split(";") : [];
      points.set(svg, parts.map((part) => {
        const [second, value, span] = part.split(",").map(Number);
        return { at: begin + second * 1000, value, span };
      }));
    }
    return points.get(svg);
  };
  const nearest = (list, at) => {
    let [low, high] = [0, list.length - 1];
    while (low < high) {
      const middle = (low + high) >> 1;
      if (list[middle].at < at) { low = middle + 1; } else { high = middle; }
    }
    return low > 0 && at - list[low - 1].at < list[low].at - at ? low - 1 : low;
  };
  let cursor = null;

  const readOff = (at) => {
    cursor = at;
    const range = current();
    for (const svg of svgs()) {
      const { left, right } = edges(svg);
      let line = svg.querySelector(".cursor");
      if (!line) {
        line = document.createElementNS("http://www.w3.org/2000/svg", "line");
        line.setAttribute("class", "cursor");
        line.setAttribute("y1", svg.dataset.top);
        line.setAttribute("y2", svg.dataset.bottom);
        svg.append(line);
      }
      const list = pointsOf(svg);
      const point = list.length ? list[nearest(list, at)] : null;
      const place = point ? point.at : at;
      const x = left + ((place - range.begin) / (range.end - range.begin)) * (right - left);
      line.setAttribute("x1", String(x));
      line.setAttribute("x2", String(x));
      line.style.visibility = x < left || x > right ? "hidden" : "visible";
      const reach = (8 / (right - left)) * (range.end - range.begin);
      const happened = [...svg.querySelectorAll(".mark")].filter((mark) =>
        place >= Number(mark.dataset.at) - reach && place <= Number(mark.dataset.until || mark.dataset.at) + reach);
      const value = !point || Number.isNaN(point.value) || point.value === undefined
        ? section.dataset.unknown
        : `${told(point.value, digitsFor(point.span))} ± ${told(point.span, digitsFor(point.span))} ${svg.dataset.unit}`;
      const words = [`${moment.format(place)}: ${value}`, ...new Set(happened.map((mark) => mark.dataset.text))];
      svg.parentElement.querySelector(".readout").textContent = words.join(" · ");
    }
  };
  const step = (svg, count) => {
    const list = pointsOf(svg);
    if (!list.length) { return; }
    const now = cursor === null ? list.length - 1 : nearest(list, cursor);
    readOff(list[Math.min(Math.max(now + count, 0), list.length - 1)].at);
  };

  // --- pointer: a mouse reads off and drags to select, a finger reads off, two fingers pinch ---
  const fingers = new Map();
  let selection = null;
  const onDown = (event) => {
    const svg = event.currentTarget;
    fingers.set(event.pointerId, event.clientX);
    if (fingers.size === 1 && event.button === 0 && event.pointerType !== "touch") {
      const mark = document.createElementNS("http://www.w3.org/2000/svg", "rect");
      mark.setAttribute("class", "selection");
      mark.setAttribute("y", "0");
      mark.setAttribute("height", String(svg.viewBox.baseVal.height));
      svg.append(mark);
      selection = { svg, mark, from: event.clientX };
    } else if (selection) {
      selection.mark.remove();
      selection = null;
    }
    readOff(momentAt(svg, event.clientX, current()));
    svg.setPointerCapture(event.pointerId);
  };
  const onMove = (event) => {
    const svg = event.currentTarget;
    if (!fingers.has(event.pointerId) || (fingers.size === 1 && !selection)) {
      readOff(momentAt(svg, event.clientX, current()));
      return;
    }
    const before = [...fingers.values()];
    fingers.set(event.pointerId, event.clientX);
    const after = [...fingers.values()];
    if (fingers.size === 2) {
      const was = Math.abs(before[0] - before[1]);
      const is = Math.abs(after[0] - after[1]);
      if (was > 5 && is > 5) {
        zoom(momentAt(svg, (after[0] + after[1]) / 2, current()), was / is, 250);
      }
    } else if (selection) {
      const { mark, from } = selection;
      const k = scale(svg);
      const origin = svg.getBoundingClientRect().left;
      const [low, high] = [Math.min(from, event.clientX), Math.max(from, event.clientX)];
      mark.setAttribute("x", String((low - origin) * k));
      mark.setAttribute("width", String((high - low) * k));
    }
  };
  const onUp = (event) => {
    fingers.delete(event.pointerId);
    if (!selection) { return; }
    const { svg, mark, from } = selection;
    mark.remove();
    selection = null;
    if (event.type === "pointerup" && Math.abs(event.clientX - from) > 12) {
      const range = current();
      const [a, b] = [momentAt(svg, from, range), momentAt(svg, event.clientX, range)];
      go(Math.min(a, b), Math.max(a, b), 0);
    }
  };
  const onWheel = (event) => {
    if (!event.ctrlKey) { return; }
    event.preventDefault();
    zoom(momentAt(event.currentTarget, event.clientX, current()), event.deltaY > 0 ? 1.25 : 0.8, 180);
  };
  for (const button of section.querySelectorAll("[data-zoom]")) {
    button.addEventListener("click", () => {
      const range = current();
      const end = follows || range.end >= newest;
      zoom(end ? range.end : (range.begin + range.end) / 2, Number(button.dataset.zoom), 0);
    });
  }

  // --- keyboard: arrows read off, with Shift they move; + and - zoom ---
  const onKey = (event) => {
    const range = current();
    const length = range.end - range.begin;
    const middle = (range.begin + range.end) / 2;
    const sides = { ArrowLeft: -1, ArrowRight: 1 };
    if (event.key in sides && event.shiftKey) {
      const shift = 0.25 * sides[event.key] * length;
      go(range.begin + shift, range.end + shift, 150);
    } else if (event.key in sides) {
      step(event.currentTarget, sides[event.key]);
    } else if (event.key === "Home" || event.key === "End") {
      step(event.currentTarget, event.key === "Home" ? -1e9 : 1e9);
    } else if (event.key === "+" || event.key === "=") {
      zoom(middle, 0.5, 150);
    } else if (event.key === "-") {
      zoom(middle, 2, 150);
    } else {
      return;
    }
    event.preventDefault();
  };

  const wire = () => {
    wanted = null;
    for (const svg of svgs()) {
      svg.setAttribute("tabindex", "0");
      svg.addEventListener("pointerdown", onDown);
      svg.addEventListener("pointermove", onMove);
      svg.addEventListener("pointerup", onUp);
      svg.addEventListener("pointercancel", onUp);
      svg.addEventListener("wheel", onWheel, { passive: false });
      svg.addEventListener("keydown", onKey);
    }
    if (cursor !== null) { readOff(cursor); }
  };
  wire();

  // --- a first visit from a phone: the server did not know yet how wide its screen is ---
  if ((window.innerWidth < 740) !== (panels().dataset.narrow === "1")) {
    wanted = shown();
    draw(true);
  }

  // --- what ends at the present goes on with it ---
  document.addEventListener("parts", (event) => {
    newest = Math.max(newest, Number(event.detail) || 0);
    if (!follows || fingers.size || Date.now() - drawn < REFRESH) { return; }
    drawn = Date.now();
    const range = shown();
    wanted = { begin: newest - (range.end - range.begin), end: newest };
    draw(true);
  });
})();
