// What the reader has chosen, and everything that follows from it.
"use strict";
(() => {
  const TICKS = "routeplan-ticks:";
  let at = 0, leg = 0, mode = "shore";
  const shown = { landings: true, drift: false, bailouts: false };
  let ticked = new Set();
  RP.chosen = [];

  const stageNow = () => RP.data.stages[at];
  const hasLaunches = (stage) => Boolean(stage && stage.launch && stage.launch.length);
  const on = (id, type, act) => { const it = RP.byId(id); if (it) it.addEventListener(type, act); };

  function proposed(stage) {
    if (!hasLaunches(stage)) return null;
    if (stage.proposed !== null) return stage.proposed;
    const good = [...stage.verdict].findIndex((letter) => letter === "W" || letter === "C");
    return Math.max(good, 0);
  }

  // The reader picks launch i of the stage in place k.
  RP.choose = (k, i, { silent = false } = {}) => {
    at = k;
    RP.chosen[k] = i;
    if (!stageNow().legs.includes(RP.data.legs[leg].number)) leg = stageNow().legs[0] - 1;
    follow();
    if (!silent) {
      document.dispatchEvent(new CustomEvent("routeplan:launch", { detail: { stage: stageNow().number, launch: utc(stageNow().launch[i]) } }));
    }
  };

  const utc = (minute) => `${new Date(minute * 60000).toISOString().slice(0, 19)}Z`;

  RP.pickLeg = (k) => {
    leg = k;
    at = Math.max(owner(RP.data.legs[k]), 0);
    follow();
  };

  const owner = (it) => RP.data.stages.findIndex((stage) => stage.legs.includes(it.number));

  function follow() {
    if (hasLaunches(stageNow())) {
      controls();
      words();
      RP.drawDay(stageNow(), RP.chosen[at]);
      RP.data.stages.forEach((stage, k) => { if (hasLaunches(stage)) RP.showGrid(k); });
    }
    rose();
    map();
  }

  function controls() {
    const stage = stageNow(), select = RP.byId("rp-launch");
    RP.byId("rp-stage").value = String(at);
    if (select.dataset.stage !== String(at)) {
      select.dataset.stage = String(at);
      const days = new Map();
      stage.launch.forEach((minute, i) => {
        const day = RP.day(minute);
        if (!days.has(day)) days.set(day, RP.html("optgroup", { label: day }));
        days.get(day).append(RP.html("option", { value: String(i) }, `${day} ${RP.clock(minute)}, ${RP.launchWords(stage, i)}`));
      });
      select.replaceChildren(...days.values());
    }
    const i = RP.chosen[at];
    select.value = String(i);
    RP.byId("rp-earlier").disabled = i === 0;
    RP.byId("rp-later").disabled = i === stage.launch.length - 1;
  }

  function words() {
    const stage = stageNow(), i = RP.chosen[at], verdict = stage.verdict[i], launch = stage.launch[i];
    const arrive = stage.arrive[i] === null ? null : launch + stage.arrive[i];
    const told = [RP.LONG[verdict]];
    if (stage.margin[i] !== null) told.push(`${RP.percent(Math.abs(stage.margin[i]))} ${stage.margin[i] < 0 ? "over the limit of" : "in hand against"} ${stage.texts[stage.tightest[i]]}`);
    if (stage.share) told.push(`${RP.percent(stage.share[i])} of the forecast members within or close`);
    if (stage.robust && (verdict === "W" || verdict === "C")) told.push(stage.robust[i] === "1" ? "stays good later and slower" : "not good any more when later or slower");
    const own = stage.proposed !== null && i === stage.proposed;
    const kind = own ? "proposed" : "not the one proposed";
    const back = RP.html("button", { type: "button" }, "Back to the launch proposed");
    back.addEventListener("click", () => { RP.choose(at, stage.proposed); RP.byId("rp-launch").focus(); });
    RP.byId("rp-chosen").replaceChildren(
      RP.html("p", { class: "line" }, RP.chip(verdict), ` Stage ${stage.number}, launch `, RP.time(launch, RP.moment(launch)), ", ashore ", RP.time(arrive), ` (${kind})`),
      RP.html("p", {}, `${told.join("; ")}.`),
      RP.html("ul", {}, stage.why[i].map(([k, minute]) => RP.html("li", {}, ...(minute === null ? [stage.texts[k]] : [`${stage.texts[k].replace(/\.$/, "")} (`, RP.time(minute, RP.moment(minute)), ")."])))),
      ...(own || stage.proposed === null ? [] : [back]));
    const table = stage.leg;
    RP.byId("rp-chosen-legs").replaceChildren(RP.table(
      ["leg", "from", "to", "wind kn", "gust kn", "headwind kn", "waves m", "km/h", "verdict", "in hand"],
      stage.legs.map((number, j) => [
        String(number), moment(launch, table.enter[j][i]), moment(launch, table.leave[j][i]),
        RP.kn(table.wind[j][i]), RP.kn(table.gust[j][i]), RP.head(table.head[j][i]), RP.figure(table.wave[j][i], 100, 1), RP.figure(table.speed[j][i], 10, 1),
        RP.html("span", {}, RP.chip(table.verdict[j][i]), ` ${RP.WORDS[table.verdict[j][i]]}${table.binding[j][i] === null ? "" : `: ${table.limits[table.binding[j][i]]}`}`),
        RP.inHand(table.margin[j][i])])));
  }

  // Redrawn for another width, as far as the width decides what is shown.
  let width = innerWidth;
  addEventListener("resize", () => {
    if (innerWidth === width) return;
    width = innerWidth;
    if (hasLaunches(stageNow())) RP.drawDay(stageNow(), RP.chosen[at]);
    RP.shapeGrids();
  });

  const moment = (launch, after) => RP.time(after === null ? null : launch + after);

  function rose() {
    const select = RP.byId("rp-leg");
    if (!select) return;
    select.value = String(leg);
    const it = RP.data.legs[leg], k = owner(it), stage = RP.data.stages[k];
    if (!hasLaunches(stage)) {
      RP.drawRose(it, null);
      return;
    }
    const i = RP.chosen[k], j = stage.legs.indexOf(it.number);
    RP.drawRose(it, { verdict: stage.leg.verdict[j][i], words: `At the launch chosen, ${RP.moment(stage.launch[i])}: ${RP.legWords(stage, i, j)}.` });
  }

  function map() {
    const told = RP.data.legs.map((it) => {
      const k = owner(it), stage = RP.data.stages[k], j = stage ? stage.legs.indexOf(it.number) : -1;
      const line = `${it.from} – ${it.to}, ${(it.length_m / 1000).toFixed(1)} km, at most ${RP.metres(it.max_m)} from shore`;
      if (!hasLaunches(stage)) return { verdict: "", words: `Leg ${it.number}, ${line}` };
      const i = RP.chosen[k];
      return { verdict: stage.leg.verdict[j][i], words: `Leg ${it.number}, ${line}. Launch ${RP.moment(stage.launch[i])}: ${RP.legWords(stage, i, j)}` };
    });
    RP.map.legs(told, mode, leg);
    const stage = stageNow(), verdict = mode === "verdict";
    RP.byId("rp-by-shore").setAttribute("aria-pressed", String(!verdict));
    RP.byId("rp-by-verdict").setAttribute("aria-pressed", String(verdict));
    for (const id of ["rp-colours", "rp-layers"]) RP.byId(id).hidden = !hasLaunches(stage);
    const other = hasLaunches(stage) && stage.proposed !== null && RP.chosen[at] !== stage.proposed;
    RP.map.ways(at, shown, other ? 0.45 : 1);
    RP.byId("rp-maphint").textContent = (RP.map.touch ? "Tap a leg or a sign for its figures; pinch or + and − zoom." : "Drag or use the arrow keys to move, Ctrl and wheel or + and − to zoom; click a leg to select it.") +
      (other ? ` Landings, drift and ways out are those of the launch proposed, ${RP.moment(stage.launch[stage.proposed])}.` : "");
    key(verdict);
  }

  function key(verdict) {
    const line = (...children) => RP.html("span", { class: "keyed" }, ...children);
    const parts = verdict
      ? ["W", "C", "U", "B"].map((letter) => line(RP.chip(letter), ` ${RP.LONG[letter]}`))
      : [line(ramp(), ` 0 to ${RP.metres(RP.data.map.far_m)} from shore, light to dark`), line(`cross strokes: more than ${RP.metres(RP.data.map.notice_m)} from shore`)];
    if (RP.data.map.legs.some((leg) => leg.land.length)) parts.push(line("black with white dashes: the line lies on land"));
    parts.push(line("▢ start, finish  △ camp"));
    if (hasLaunches(stageNow())) {
      if (shown.landings) parts.push(line("✕ landing reached soonest from where it is farthest"));
      if (shown.drift) parts.push(line("broken red: where you would drift to, □ on the craft, ○ in the water"));
      if (shown.bailouts) parts.push(line("dots: hover for the way out; black: no shore within half an hour"));
    }
    if (RP.data.map.step_m) parts.push(line(`coast drawn to ${RP.metres(RP.data.map.step_m)}: smaller islets are left out of the drawing`));
    RP.byId("rp-mapkey").replaceChildren(...parts);
  }

  function ramp() {
    return RP.svg("svg", { width: 108, height: 14, "aria-hidden": "true" },
      RP.map.ramp.map((color, k) => RP.svg("rect", { x: k * 12, y: 0, width: 12, height: 14, fill: color })));
  }

  // ---- listeners on what the sections hold; called anew when they are swapped
  function listen() {
    on("rp-stage", "change", (event) => RP.choose(Number(event.target.value), RP.chosen[Number(event.target.value)]));
    on("rp-launch", "change", (event) => RP.choose(at, Number(event.target.value)));
    on("rp-earlier", "click", () => RP.choose(at, Math.max(RP.chosen[at] - 1, 0)));
    on("rp-later", "click", () => RP.choose(at, Math.min(RP.chosen[at] + 1, stageNow().launch.length - 1)));
    on("rp-leg", "change", (event) => RP.pickLeg(Number(event.target.value)));
    on("rp-form", "submit", (event) => event.preventDefault());
    for (const name of ["shore", "verdict"]) on(`rp-by-${name}`, "click", () => { mode = name; map(); });
    on("rp-in", "click", () => RP.map.zoom(0.7));
    on("rp-out", "click", () => RP.map.zoom(1 / 0.7));
    on("rp-whole", "click", () => RP.map.whole());
    on("rp-drag", "click", (event) => event.target.setAttribute("aria-pressed", String(RP.map.drag())));
    on("rp-only", "click", () => RP.map.stage(stageNow().legs));
    for (const name of Object.keys(shown)) {
      const box = RP.byId(`rp-show-${name}`);
      if (!box) continue;
      box.checked = shown[name];
      box.addEventListener("change", () => { shown[name] = box.checked; map(); });
    }
    RP.liveGrids();
    remember();
  }

  // Boxes that were ticked stay ticked when the kit is worked out anew, and where the browser keeps them.
  function remember() {
    const name = TICKS + RP.data.title;
    try { ticked = new Set([...ticked, ...JSON.parse(localStorage.getItem(name) || "[]")]); } catch { /* no store here */ }
    for (const box of document.querySelectorAll(".ticks input")) {
      const words = box.parentElement.textContent.trim();
      box.checked = ticked.has(words);
      box.addEventListener("change", () => {
        if (box.checked) ticked.add(words); else ticked.delete(words);
        try { localStorage.setItem(name, JSON.stringify([...ticked])); } catch { /* no store here */ }
      });
    }
  }

  async function start(before) {
    RP.chosen = RP.data.stages.map((stage) => {
      const kept = before && before.find((it) => it.number === stage.number);
      const same = kept && hasLaunches(stage) ? stage.launch.indexOf(kept.launch) : -1;
      return same >= 0 ? same : proposed(stage);
    });
    at = Math.min(at, RP.data.stages.length - 1);
    leg = Math.min(leg, RP.data.legs.length - 1);
    listen();
    await RP.drawMap(RP.data.map);
    follow();
    document.documentElement.dataset.report = "ready";
  }

  window.routeplanReport = {
    // Sections by id and data as the server gives them: swapped in place, choices kept.
    update: async ({ fragments, data }) => {
      const before = RP.data.stages.map((stage, k) => ({ number: stage.number, launch: hasLaunches(stage) && RP.chosen[k] !== stage.proposed ? stage.launch[RP.chosen[k]] : null }));
      const focus = document.activeElement ? document.activeElement.id : "";
      const open = [...document.querySelectorAll("main details")].map((it) => it.open);
      for (const [id, html] of Object.entries(fragments)) {
        const section = RP.byId(id);
        if (section) section.innerHTML = html;
      }
      [...document.querySelectorAll("main details")].forEach((it, k) => { if (open[k] !== undefined) it.open = open[k]; });
      RP.data = data;
      await start(before);
      if (focus && RP.byId(focus)) RP.byId(focus).focus({ preventScroll: true });
    },
    // The launch chosen of each stage, ISO 8601 UTC by number of the stage.
    chosen: () => Object.fromEntries(RP.data.stages.map((stage, k) => [stage.number, hasLaunches(stage) ? utc(stage.launch[RP.chosen[k]]) : null])),
  };

  // On paper every box is open.
  let closed = [];
  addEventListener("beforeprint", () => {
    closed = [...document.querySelectorAll("details:not([open])")];
    for (const it of closed) it.open = true;
  });
  addEventListener("afterprint", () => { for (const it of closed) it.open = false; });

  RP.data = JSON.parse(RP.byId("rp-data").textContent);
  start(null);
})();
