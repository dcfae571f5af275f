/* Comfort only; every page works without it. Three things: a form that answers while you type, a picture that can be moved, focus on errors. */
(() => {
  "use strict";

  // A form with data-live="ID" fetches its own page with what is typed and swaps the part with that id. Only the newest answer counts:
  // an older one that arrives late is dropped by its number. What changed is read out from [data-say] to those who cannot see it.
  for (const form of document.querySelectorAll("form[data-live]")) {
    const target = document.getElementById(form.dataset.live);
    const said = document.createElement("p");
    said.className = "hidden";
    said.setAttribute("role", "status");
    form.after(said);
    let sequence = 0;
    let shownNumber = 0;
    let timer = 0;
    let under_way = null;
    const refresh = async (live) => {
      const mine = ++sequence;
      under_way?.abort();
      under_way = new AbortController();
      const address = new URL(form.action || location.href);
      const typed = [...new FormData(form)].filter(([, value]) => value !== "");
      address.search = new URLSearchParams(typed).toString();
      const asked = new URL(address);
      if (live) asked.searchParams.set("live", "1");
      target.setAttribute("aria-busy", "true");
      try {
        const answer = await fetch(asked, { headers: { Accept: "text/html" }, signal: under_way.signal });
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        const fresh = page.getElementById(form.dataset.live);
        if (mine === sequence && mine > shownNumber && fresh) {
          shownNumber = mine;
          target.replaceChildren(...fresh.childNodes);
          history.replaceState(null, "", address);
          const sentence = target.querySelector("[data-say]")?.textContent.trim() ?? "";
          if (sentence && sentence !== said.textContent) said.textContent = sentence;
          if (!live) target.querySelector("#summary")?.focus();
          // A choice was tapped and no keypad is open: the answer comes into sight. While somebody types, the page stays where it is.
          if (live && document.activeElement?.type === "radio") target.querySelector(".answer")?.scrollIntoView({ block: "nearest" });
        }
      } catch {
        /* the button still works */
      } finally {
        if (mine === sequence) target.removeAttribute("aria-busy");
      }
    };
    form.addEventListener("input", () => {
      clearTimeout(timer);
      timer = setTimeout(() => refresh(true), 200);
    });
    form.addEventListener("submit", (event) => {
      if (event.submitter?.hasAttribute("formaction")) return; // this button keeps something: the page itself goes
      event.preventDefault();
      clearTimeout(timer);
      refresh(false);
    });
  }

  // Pictures: drag to move, wheel or two fingers to come closer, double click or key 0 to see all.
  for (const svg of document.querySelectorAll("[data-pan] svg[viewBox]")) {
    const whole = svg.getAttribute("viewBox").split(/\s+/).map(Number);
    let box = [...whole];
    const fingers = new Map();
    const show = () => svg.setAttribute("viewBox", box.map((n) => n.toFixed(2)).join(" "));
    const zoom = (factor, x, y) => {
      const rect = svg.getBoundingClientRect();
      const px = box[0] + ((x - rect.left) / rect.width) * box[2];
      const py = box[1] + ((y - rect.top) / rect.height) * box[3];
      const width = Math.min(whole[2], Math.max(whole[2] / 40, box[2] * factor));
      const scale = width / box[2];
      box = [px - (px - box[0]) * scale, py - (py - box[1]) * scale, width, box[3] * scale];
      show();
    };
    svg.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && !event.metaKey) return;
      event.preventDefault();
      zoom(event.deltaY > 0 ? 1.15 : 1 / 1.15, event.clientX, event.clientY);
    }, { passive: false });
    svg.addEventListener("pointerdown", (event) => fingers.set(event.pointerId, [event.clientX, event.clientY]));
    for (const name of ["pointerup", "pointercancel", "pointerleave"]) svg.addEventListener(name, (event) => fingers.delete(event.pointerId));
    svg.addEventListener("pointermove", (event) => {
      const before = fingers.get(event.pointerId);
      if (!before) return;
      const now = [event.clientX, event.clientY];
      if (fingers.size === 1 && box[2] < whole[2]) {
        const rect = svg.getBoundingClientRect();
        box[0] -= ((now[0] - before[0]) / rect.width) * box[2];
        box[1] -= ((now[1] - before[1]) / rect.height) * box[3];
        show();
      } else if (fingers.size === 2) {
        const other = [...fingers].find(([id]) => id !== event.pointerId)[1];
        const span = (a) => Math.hypot(a[0] - other[0], a[1] - other[1]) || 1;
        zoom(span(before) / span(now), (now[0] + other[0]) / 2, (now[1] + other[1]) / 2);
      }
      fingers.set(event.pointerId, now);
    });
    svg.addEventListener("dblclick", () => { box = [...whole]; show(); });
  }

  const summary = document.getElementById("summary");
  if (summary) summary.focus();
})();
