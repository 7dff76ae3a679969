// Launch time against leg: the drawing of the document, made to choose a launch from.
"use strict";
(() => {
  const LEFT = 190, WIDTH = 810, TOP = 26, TOTAL = 30, ROW = 24;

  RP.liveGrids = () => {
    for (const art of document.querySelectorAll("svg.grid")) live(art, Number(art.dataset.stage));
    RP.shapeGrids();
  };

  // On a narrow screen legs are told by number alone, and the drawing begins there.
  RP.shapeGrids = () => {
    const narrow = innerWidth < 640;
    for (const art of document.querySelectorAll("svg.grid")) {
      const [from, , wide, high] = (art.dataset.box ||= art.getAttribute("viewBox")).split(" ").map(Number);
      const left = narrow ? LEFT - 50 : from;
      art.setAttribute("viewBox", `${left} 0 ${from + wide - left} ${high}`);
      art.classList.toggle("narrow", narrow);
      for (const text of art.querySelectorAll("text[data-short]")) {
        text.dataset.full ||= text.textContent;
        text.textContent = narrow ? text.dataset.short : text.dataset.full;
      }
    }
  };

  function live(art, at) {
    const stage = RP.data.stages[at];
    const box = art.parentElement;
    art.classList.add("live");
    art.setAttribute("aria-hidden", "true");
    box.setAttribute("role", "slider");
    box.setAttribute("tabindex", "0");
    box.setAttribute("aria-label", `Launch of stage ${stage.number}`);
    box.setAttribute("aria-valuemin", "1");
    box.setAttribute("aria-valuemax", String(stage.launch.length));
    art.addEventListener("pointermove", (event) => hovering(art, stage, event));
    art.addEventListener("pointerleave", () => RP.showGrid(at));
    art.addEventListener("click", (event) => {
      const spot = place(art, stage, event);
      if (!spot) return;
      RP.choose(at, spot.i);
      if (spot.j >= 0) RP.pickLeg(stage.legs[spot.j] - 1);
    });
    box.addEventListener("keydown", (event) => keys(event, at, stage));
  }

  function keys(event, at, stage) {
    const day = Math.max(1, Math.round(180 / Math.max(stage.launch[1] - stage.launch[0], 1)));
    const step = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageUp: day, PageDown: -day, Home: -1e6, End: 1e6 }[event.key];
    if (step === undefined || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    RP.choose(at, Math.min(Math.max(RP.chosen[at] + step, 0), stage.launch.length - 1));
  }

  // The launch nearest to a minute; launches stand in order.
  function nearest(stage, minute) {
    let found = 0;
    stage.launch.forEach((launch, i) => {
      if (Math.abs(launch - minute) < Math.abs(stage.launch[found] - minute)) found = i;
    });
    return found;
  }

  function limits(stage) {
    const half = (stage.launch[1] - stage.launch[0]) / 2;
    return [stage.launch[0] - half, stage.launch.at(-1) + half];
  }

  RP.gridX = (stage, i) => {
    const [low, high] = limits(stage);
    return LEFT + ((stage.launch[i] - low) / (high - low)) * WIDTH;
  };

  function place(art, stage, event) {
    const spot = new DOMPoint(event.clientX, event.clientY).matrixTransform(art.getScreenCTM().inverse());
    if (spot.x < LEFT || spot.x > LEFT + WIDTH) return null;
    const [low, high] = limits(stage);
    const i = nearest(stage, low + ((spot.x - LEFT) / WIDTH) * (high - low));
    const j = Math.floor((spot.y - TOP - TOTAL) / ROW);
    return { i, j: j < stage.legs.length ? j : -1 };
  }

  function hovering(art, stage, event) {
    const spot = place(art, stage, event);
    if (spot) say(art, stage, spot.i, spot.j);
  }

  function say(art, stage, i, j) {
    const head = `${RP.moment(stage.launch[i])}: ${RP.launchWords(stage, i)}`;
    art.closest("section").querySelectorAll(".readout")[art.dataset.stage === undefined ? 0 : order(art)].textContent =
      j >= 0 ? `${RP.moment(stage.launch[i])}, leg ${stage.legs[j]}: ${RP.legWords(stage, i, j)}` : head;
  }

  const order = (art) => [...document.querySelectorAll("svg.grid")].indexOf(art);

  RP.launchWords = (stage, i) => {
    const verdict = stage.verdict[i], limit = stage.binding[i] === null ? "" : `, ${stage.texts[stage.binding[i]]}`;
    return `${RP.WORDS[verdict]}${limit}`;
  };

  // The chosen launch as a line through all rows.
  RP.showGrid = (at) => {
    const art = document.querySelector(`svg.grid[data-stage="${at}"]`);
    if (!art) return;
    const stage = RP.data.stages[at], i = RP.chosen[at], x = RP.gridX(stage, i);
    const bottom = TOP + TOTAL + ROW * stage.legs.length;
    art.querySelector(".cursor").replaceChildren(
      RP.svg("path", { d: `M${x} ${TOP - 10}V${bottom + 6}`, stroke: "#fff", "stroke-width": 4.5, "stroke-opacity": 0.8 }),
      RP.svg("path", { d: `M${x} ${TOP - 10}V${bottom + 6}`, stroke: "#1d2327", "stroke-width": 2.4 }),
      RP.svg("circle", { cx: x, cy: bottom + 6, r: 5, fill: "#1d2327" }));
    const box = art.parentElement;
    box.setAttribute("aria-valuenow", String(i + 1));
    box.setAttribute("aria-valuetext", `${RP.moment(stage.launch[i])}, ${RP.launchWords(stage, i)}`);
    say(art, stage, i, -1);
  };
})();
