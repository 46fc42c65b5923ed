// Keeps an open page up to date and saves a reload here and there. Every page works without it.
"use strict";

(() => {
  const body = document.body;
  const find = (id) => document.getElementById(id);

  // --- width: charts are drawn for the screen they are seen on ---
  const width = window.innerWidth < 740 ? "narrow" : "wide";
  if (!document.cookie.includes(`millpond-width=${width}`)) {
    document.cookie = `millpond-width=${width}; path=/; max-age=31536000; samesite=lax`;
  }

  // --- what is live ---
  let version = Number(body.dataset.version || 0);
  let source = null;
  let silence = null;
  let touched = 0;
  const CALM = 4000;
  for (const kind of ["pointerdown", "keydown", "focusin"]) {
    addEventListener(kind, () => { touched = Date.now(); }, { passive: true });
  }

  const lost = () => {
    body.classList.add("lost");
    const clock = find("clock");
    const place = find("not-live-clock");
    if (place) { place.textContent = clock ? clock.textContent : ""; }
    const warning = find("not-live");
    if (warning) { warning.hidden = false; }
  };
  const heard = () => {
    body.classList.remove("lost");
    const warning = find("not-live");
    if (warning) { warning.hidden = true; }
    clearTimeout(silence);
    silence = setTimeout(lost, 25000);
  };

  const fromText = (html) => {
    const holder = document.createElement("template");
    holder.innerHTML = html.trim();
    return holder.content.firstElementChild;
  };

  // Bring a node to what it should be, touching only what differs: focus, selection and what is
  // folded open stay, and the browser lays out little.
  const patch = (old, fresh) => {
    if (old.nodeType !== fresh.nodeType || old.nodeName !== fresh.nodeName) { old.replaceWith(fresh); return; }
    if (old.nodeType !== Node.ELEMENT_NODE) {
      if (old.nodeValue !== fresh.nodeValue) { old.nodeValue = fresh.nodeValue; }
      return;
    }
    if (old.isEqualNode(fresh)) { return; }
    for (const { name, value } of fresh.attributes) {
      if (old.getAttribute(name) !== value) { old.setAttribute(name, value); }
    }
    for (const { name } of [...old.attributes]) {
      const stays = name === "hidden" || (name === "open" && old.nodeName === "DETAILS");
      if (!fresh.hasAttribute(name) && !stays) { old.removeAttribute(name); }
    }
    const [have, want] = [[...old.childNodes], [...fresh.childNodes]];
    want.forEach((child, place) => {
      if (place < have.length) { patch(have[place], child); } else { old.append(child); }
    });
    for (const extra of have.slice(want.length)) { extra.remove(); }
  };

  const replace = (id, html) => {
    const old = find(id);
    const fresh = fromText(html);
    if (old && fresh) { patch(old, fresh); }
  };

  // A row whose urgency has changed moves to its group when nobody is touching the page.
  const settle = () => {
    if (Date.now() - touched < CALM) { setTimeout(settle, CALM); return; }
    const stray = document.querySelector(".rows > .row.stray");
    if (stray) { location.reload(); }
  };

  // What came since the last frame is drawn in one.
  let waiting = null;
  const draw = () => {
    const { parts, clock, at } = waiting;
    waiting = null;
    let moved = false;
    for (const [id, html] of parts) {
      const old = find(id);
      const before = old ? old.dataset.urgency : undefined;
      replace(id, html);
      const now = find(id);
      if (now && before !== undefined && now.dataset.urgency !== before) {
        now.classList.add("stray", "fresh");
        moved = true;
      }
    }
    const place = find("clock");
    if (place && clock) { place.textContent = clock; }
    if (parts.size) {
      filter();
      document.dispatchEvent(new CustomEvent("parts", { detail: at }));
    }
    if (moved) { setTimeout(settle, CALM); }
  };

  const take = (event) => {
    heard();
    const told = JSON.parse(event.data);
    version = told.version;
    if (!waiting) {
      waiting = { parts: new Map() };
      requestAnimationFrame(draw);
    }
    for (const [id, html] of Object.entries(told.parts)) { waiting.parts.set(id, html); }
    waiting.clock = told.clock;
    waiting.at = told.at;
  };

  const listen = () => {
    if (!body.dataset.live || source || document.hidden) { return; }
    const address = new URL(body.dataset.live, location.href);
    address.searchParams.set("seen", String(version));
    source = new EventSource(address);
    source.addEventListener("parts", take);
    source.addEventListener("error", () => {
      lost();
      if (source && source.readyState === EventSource.CLOSED) { source = null; setTimeout(listen, 5000); }
    });
  };
  document.addEventListener("visibilitychange", () => {
    if (document.hidden && source) { source.close(); source = null; clearTimeout(silence); } else { listen(); }
  });
  listen();

  // --- finding among the rows, while one types ---
  const query = find("q");
  const chips = document.querySelectorAll("[data-show]");
  let shown = null;
  let filtered = false;
  const filter = () => {
    if (!query || (!query.value && !shown && !filtered)) { return; }
    filtered = Boolean(query.value || shown);
    const words = query.value.toLowerCase().split(/\s+/).filter(Boolean);
    let count = 0;
    for (const row of document.querySelectorAll(".rows > .row")) {
      const fits = words.every((word) => row.dataset.names.includes(word))
        && (!shown || row.dataset.urgency === shown);
      row.hidden = !fits;
      count += fits ? 1 : 0;
    }
    for (const group of document.querySelectorAll(".group")) {
      group.hidden = !group.querySelector(".row:not([hidden])");
    }
    const none = find("none-found");
    if (none) { none.hidden = count > 0; }
  };
  if (query) {
    query.addEventListener("input", filter);
    query.form.addEventListener("submit", (event) => { event.preventDefault(); filter(); });
  }
  if (document.querySelector(".rows") && !new URLSearchParams(location.search).get("show")) {
    for (const chip of chips) {
      chip.addEventListener("click", (event) => {
        event.preventDefault();
        shown = chip.dataset.show || null;
        for (const other of chips) { other.removeAttribute("aria-current"); }
        chip.setAttribute("aria-current", "true");
        filter();
      });
    }
  }

  // --- forms that replace a piece of the page instead of all of it ---
  document.addEventListener("submit", async (event) => {
    const form = event.target;
    const piece = form.dataset.piece;
    if (!piece || event.defaultPrevented) { return; }
    event.preventDefault();
    const data = new URLSearchParams(new FormData(form, event.submitter));
    const buttons = form.querySelectorAll("button");
    for (const button of buttons) { button.disabled = true; }
    try {
      const answer = await fetch(form.getAttribute("action"), {
        method: "POST", body: data, headers: { accept: "text/html", "x-piece": piece }, credentials: "same-origin",
      });
      if (answer.redirected || !answer.ok) { throw new Error(String(answer.status)); }
      replace(piece, await answer.text());
      const place = find(piece);
      const next = place && (place.querySelector("[autofocus]") || place.querySelector("button"));
      if (next) { next.focus({ preventScroll: true }); }
    } catch {
      for (const button of buttons) { button.disabled = false; }
      delete form.dataset.piece;
      form.requestSubmit(event.submitter);
    }
  });

  // --- forms that show only what the chosen form of an entry needs ---
  const conditional = document.querySelectorAll("[data-when]");
  const choose = () => {
    for (const part of conditional) {
      const [name, value] = part.dataset.when.split("=");
      const chosen = document.querySelector(`input[name="${name}"]:checked`);
      part.hidden = !chosen || chosen.value !== value;
    }
    for (const part of document.querySelectorAll("[data-unless]")) {
      const [name, value] = part.dataset.unless.split("=");
      part.hidden = document.querySelector(`input[name="${name}"]:checked`)?.value === value;
    }
    const select = document.querySelector("select[data-shows]");
    const hint = find("h-value");
    if (select && hint) { hint.textContent = select.selectedOptions[0].dataset.hint; }
    for (const part of document.querySelectorAll("[data-for]")) {
      part.hidden = !select || part.dataset.for !== select.value;
    }
  };
  if (document.querySelector("form.entry")) {
    document.querySelector("form.entry").addEventListener("change", choose);
    choose();
  }

  // --- the time for which pumps run ---
  const tell = () => {
    const timer = document.querySelector(".timer[data-until]");
    if (!timer) { return; }
    const left = Number(timer.dataset.until) - Number(timer.dataset.now) - (Date.now() - loaded);
    const place = timer.querySelector("[data-left]");
    const minutes = Math.floor(Math.max(left, 0) / 60000);
    const seconds = Math.floor((Math.max(left, 0) % 60000) / 1000);
    place.textContent = left > 0 ? `${minutes}:${String(seconds).padStart(2, "0")}` : "0:00";
  };
  let loaded = Date.now();
  document.addEventListener("parts", () => { loaded = Date.now(); });
  setInterval(tell, 1000);

  // --- printing ---
  for (const button of document.querySelectorAll("[data-print]")) {
    button.hidden = false;
    button.addEventListener("click", () => print());
  }
})();
