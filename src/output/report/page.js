"use strict";
(() => {
  const all = (query) => Array.from(document.querySelectorAll(query));
  const one = (id) => document.getElementById(id);

  // Units. Ways: mm, cm or in. Bores, gaps and clearances: mm, in or French.
  const SHOWN = {
    mm: { l: ["mm", 1, 0], d: ["mm", 1, 2] },
    cm: { l: ["cm", 0.1, 1], d: ["mm", 1, 2] },
    in: { l: ["in", 1 / 25.4, 1], d: ["in", 1 / 25.4, 4] },
    Fr: { l: ["cm", 0.1, 1], d: ["Fr", 3, 2] },
  };
  const lengths = all("[data-mm]").map((at) => ({ at, written: at.textContent }));
  const units = all("[data-unit]");
  const asNumber = (value, digits, at) => {
    let text = value.toFixed(digits);
    if (at.closest("svg") && digits > 0) text = String(Number(text));
    if (Number(text) === 0) text = text.replace("-", "");
    return at.dataset.sign && value > 0 && Number(text) !== 0 ? "+" + text : text;
  };
  const showUnits = (name) => {
    for (const { at, written } of lengths) {
      if (name === "mm") { at.textContent = written; continue; }
      const kind = at.dataset.bare || at.dataset.kind;
      const [unit, factor, digits] = SHOWN[name][kind];
      const number = asNumber(Number(at.dataset.mm) * factor, digits, at);
      at.textContent = (at.dataset.before || "") + number + (at.dataset.bare ? "" : " " + unit) + (at.dataset.after || "");
    }
    for (const at of units) at.textContent = SHOWN[name][at.dataset.unit][0];
  };
  one("units").addEventListener("change", (event) => showUnits(event.target.value));
  one("look").addEventListener("change", (event) => {
    const look = event.target.value;
    if (look === "auto") delete document.documentElement.dataset.look;
    else document.documentElement.dataset.look = look;
    document.dispatchEvent(new CustomEvent("look"));
  });

  // Names stay in sight where a plot is wider than the screen; the tips lie at its right.
  const stays = all(".scroll").filter((box) => box.querySelector("g.stay"));
  for (const box of stays) {
    const names = box.querySelector("g.stay");
    box.addEventListener("scroll", () => {
      const width = names.ownerSVGElement.viewBox.baseVal.width;
      names.setAttribute("transform", "translate(" + (box.scrollLeft * width) / box.scrollWidth + ",0)");
    });
    if (box.querySelector("#fig-nesting, #fig-nesting-tips")) box.scrollLeft = box.scrollWidth;
  }

  // On paper nothing is folded away but what every value rests on, unless that is asked for.
  const sources = one("print-basis");
  if (sources) sources.addEventListener("change", () => {
    if (sources.checked) document.documentElement.dataset.sources = "1";
    else delete document.documentElement.dataset.sources;
  });
  let folded = [];
  addEventListener("beforeprint", () => {
    folded = all("details:not([open])").filter((part) => (sources && sources.checked) || !part.matches(".sources"));
    for (const part of folded) part.open = true;
    for (const box of stays) box.querySelector("g.stay").removeAttribute("transform");
  });
  addEventListener("afterprint", () => {
    for (const part of folded) part.open = false;
    folded = [];
  });

  // Steps.
  const slider = one("slider");
  if (!slider) return;
  const most = Number(slider.max);
  const parts = all(".step");
  const cursors = all(".cursor");
  let step = Number(slider.value);
  const show = (wanted) => {
    step = Math.min(most, Math.max(1, wanted));
    slider.value = String(step);
    const now = document.querySelector("#now .step[data-step='" + step + "']");
    for (const part of parts) part.classList.toggle("on", Number(part.dataset.step) === step);
    slider.setAttribute("aria-valuetext", now ? now.textContent.trim() : String(step));
    for (const line of cursors) {
      const x = Number(line.dataset.from) + (step - 1) * Number(line.dataset.pitch);
      line.setAttribute("x1", x);
      line.setAttribute("x2", x);
      // where a plot is wider than the screen, the step shown comes into sight
      const plot = line.closest(".scroll");
      if (plot && plot.scrollWidth > plot.clientWidth) {
        const place = x / line.ownerSVGElement.viewBox.baseVal.width * plot.scrollWidth;
        if (place < plot.scrollLeft + 30 || place > plot.scrollLeft + plot.clientWidth - 30) plot.scrollLeft = place - 0.6 * plot.clientWidth;
      }
    }
    document.dispatchEvent(new CustomEvent("step", { detail: step }));
  };
  slider.addEventListener("input", () => { stop(); show(Number(slider.value)); });
  one("prev").addEventListener("click", () => { stop(); show(step - 1); });
  one("next").addEventListener("click", () => { stop(); show(step + 1); });
  let timer = 0;
  const play = one("play");
  const stop = () => {
    clearInterval(timer);
    timer = 0;
    play.setAttribute("aria-pressed", "false");
    play.textContent = "▶▶";
  };
  play.addEventListener("click", () => {
    if (timer) { stop(); return; }
    if (step === most) show(1);
    play.setAttribute("aria-pressed", "true");
    play.textContent = "❚❚";
    timer = setInterval(() => { if (step >= most) stop(); else show(step + 1); }, 1200);
  });
  for (const link of all("[data-go]")) {
    link.addEventListener("click", () => { stop(); show(Number(link.dataset.go)); });
  }
  show(step);
})();
