// Set-up: draws the tank while one types, keeps the list of topics fresh, waits for the agent. All of it works without.
"use strict";

(() => {
  const fromText = (html) => {
    const holder = document.createElement("template");
    holder.innerHTML = html.trim();
    return holder.content.firstElementChild;
  };

  // --- only the measures of the chosen shape, and the drawing as one types ---
  const form = document.getElementById("sump-form");
  if (form) {
    const shapes = () => {
      const chosen = form.querySelector("input[name=shape]:checked");
      for (const part of form.querySelectorAll("[data-shape]")) {
        part.hidden = !chosen || !part.dataset.shape.split(" ").includes(chosen.value);
      }
    };
    let timer = null;
    let number = 0;
    const draw = async () => {
      const mine = ++number;
      try {
        const answer = await fetch("/setup/drawing", {
          method: "POST", body: new URLSearchParams(new FormData(form)), credentials: "same-origin",
        });
        if (!answer.ok || mine !== number) { return; }
        const fresh = fromText(await answer.text());
        const old = document.getElementById("tank-drawing");
        if (old && fresh) { old.replaceWith(fresh); }
      } catch { /* the button draws too */ }
    };
    form.addEventListener("input", () => {
      shapes();
      clearTimeout(timer);
      timer = setTimeout(draw, 300);
    });
    shapes();
    const button = form.querySelector("button[value=draw]");
    if (button) { button.hidden = true; }
  }

  // --- what is heard ---
  const refreshed = document.querySelector("[data-refresh][data-every]");
  if (refreshed) {
    const again = async () => {
      if (!document.hidden && !refreshed.contains(document.activeElement)) {
        try {
          const answer = await fetch(refreshed.dataset.refresh, { credentials: "same-origin" });
          const fresh = answer.ok && !answer.redirected ? fromText(await answer.text()) : null;
          const old = document.getElementById("heard");
          if (old && fresh && old.outerHTML !== fresh.outerHTML) { old.replaceWith(fresh); }
        } catch { /* the next time */ }
      }
      setTimeout(again, Number(refreshed.dataset.every));
    };
    setTimeout(again, Number(refreshed.dataset.every));
  }

  // --- until the agent works by the new file; its page is away for a moment then ---
  const waits = document.querySelector("[data-waits]");
  if (waits) {
    let tries = 0;
    const ask = async () => {
      tries += 1;
      try {
        const answer = await fetch(waits.dataset.waits, { credentials: "same-origin" });
        if (answer.ok && (await answer.text()) === "1") { location.reload(); return; }
      } catch { /* it is starting again */ }
      if (tries < 40) { setTimeout(ask, 1000); }
    };
    setTimeout(ask, 1000);
  }
})();
