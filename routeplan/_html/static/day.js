// Wind, gusts and sea along the day of one launch, with the limits and the night.
"use strict";
(() => {
  const LEFT = 44, HIGH = 96, GAP = 26, TOP = 50;
  let WIDTH = 830; // of the panels; by the width of the box
  const PANELS = [
    { key: "wind", title: "Wind", unit: "kn", scale: 10, limit: "wind", second: { key: "head", limit: "headwind", name: "headwind" } },
    { key: "gust", title: "Gusts", unit: "kn", scale: 10, limit: "gust" },
    { key: "wave", title: "Waves", unit: "m", scale: 100, limit: "wave_height" },
  ];

  RP.drawDay = (stage, i) => {
    const box = RP.byId("rp-daybox");
    if (!box) return;
    WIDTH = Math.min(Math.max(box.clientWidth || 960, 320), 1180) - LEFT - 22;
    const launch = stage.launch[i];
    const arrive = stage.arrive[i] === null ? launch : launch + stage.arrive[i];
    const begin = RP.midnight(launch);
    const end = Math.max(begin + 1440, Math.ceil((arrive + 60 - begin) / 180) * 180 + begin);
    const x = (minute) => LEFT + ((Math.min(Math.max(minute, begin), end) - begin) / (end - begin)) * WIDTH;
    const bottom = TOP + PANELS.length * (HIGH + GAP) - GAP;
    const art = RP.svg("svg", { viewBox: `0 0 ${LEFT + WIDTH + 22} ${bottom + 30}`, role: "img", "aria-label": `Weather along ${RP.day(launch)} at the launch of ${RP.clock(launch)}; the table below has the figures` });
    nights(art, stage, begin, end, x, bottom);
    PANELS.forEach((panel, k) => drawPanel(art, panel, stage, i, TOP + k * (HIGH + GAP), x, begin, end));
    axis(art, begin, end, x, bottom);
    marks(art, stage, i, launch, arrive, x, bottom);
    box.replaceChildren(art);
    table(stage, i, begin, end);
    readout(stage, i, launch, arrive);
  };

  function nights(art, stage, begin, end, x, bottom) {
    if (!stage.light) return;
    let edge = begin;
    for (const [rise, dusk] of [...stage.light, [end, end]]) {
      if (rise > edge && edge < end) {
        art.append(RP.svg("rect", { x: x(edge), y: TOP, width: Math.max(x(rise) - x(edge), 0), height: bottom - TOP, fill: "#d3d6d9" }, RP.svg("title", {}, "night at the start")));
      }
      edge = Math.max(edge, dusk);
    }
  }

  function drawPanel(art, panel, stage, i, top, x, begin, end) {
    const limit = RP.data.limits[panel.limit];
    const hours = stage.weather.time.map((minute, k) => [minute, stage.weather[panel.key][k]]).filter(([minute]) => minute >= begin - 60 && minute <= end + 60);
    const met = stage.leg[panel.key].map((row) => row[i]);
    const known = [...hours.map((it) => it[1]), ...met, limit].filter((value) => value !== null);
    const most = known.length ? Math.max(...known, panel.scale) * 1.2 : panel.scale;
    const y = (value) => top + HIGH - (Math.max(value, 0) / most) * HIGH;
    art.append(RP.svg("rect", { x: LEFT, y: top, width: WIDTH, height: HIGH, fill: "none", stroke: "#6b7278" }));
    if (limit !== null) {
      art.append(RP.svg("rect", { x: LEFT, y: top, width: WIDTH, height: Math.max(y(limit) - top, 0), fill: "url(#rp-p-over)" }));
    }
    bars(art, panel, stage, i, x, y, top);
    curve(art, hours, x, y);
    if (limit !== null) {
      art.append(RP.svg("path", { d: `M${LEFT} ${y(limit)}H${LEFT + WIDTH}`, stroke: "#46226b", "stroke-width": 2, "stroke-dasharray": "9 4" }),
        label(LEFT + WIDTH - 4, y(limit) - 4, `limit ${figure(limit, panel)} ${panel.unit}`, "end"));
    }
    art.append(RP.svg("text", { x: LEFT, y: top - 7, "font-size": 13, "font-weight": 700 }, `${panel.title}, ${panel.unit}${known.length > 1 ? "" : ": unknown"}`));
    for (const value of ticks(most / panel.scale)) {
      art.append(RP.svg("path", { d: `M${LEFT - 4} ${y(value * panel.scale)}h4`, stroke: "#1d2327" }),
        RP.svg("text", { x: LEFT - 8, y: y(value * panel.scale) + 4, "text-anchor": "end", "font-size": 11.5 }, String(value)));
    }
    if (panel.second) second(art, panel, stage, i, x, y);
  }

  function bars(art, panel, stage, i, x, y, top) {
    stage.legs.forEach((number, j) => {
      const [from, to] = legSpan(stage, i, j), value = stage.leg[panel.key][j][i];
      if (from === null || to === null) return;
      const high = value === null ? top + 2 : y(value);
      const bar = RP.svg("rect", { x: x(from), y: high, width: Math.max(x(to) - x(from), 1), height: top + HIGH - high,
        fill: value === null ? "url(#rp-p-U)" : "#9fb4bf", stroke: "#1d2327" },
        RP.svg("title", {}, `Leg ${number}: ${RP.legWords(stage, i, j)}`));
      art.append(bar);
      if (x(to) - x(from) > 12) art.append(label((x(from) + x(to)) / 2, top + HIGH - 5, String(number), "middle"));
    });
  }

  // Headwind as short thick strokes within the bars of wind.
  function second(art, panel, stage, i, x, y) {
    const limit = RP.data.limits[panel.second.limit];
    stage.legs.forEach((_, j) => {
      const [from, to] = legSpan(stage, i, j), value = stage.leg[panel.second.key][j][i];
      if (from === null || to === null || value === null || value <= 0) return;
      art.append(RP.svg("path", { d: `M${x(from) + 1} ${y(value)}H${x(to) - 1}`, stroke: "#1d2327", "stroke-width": 3.5 }, RP.svg("title", {}, `headwind ${RP.kn(value)} kn`)));
    });
    if (limit !== null) {
      art.append(RP.svg("path", { d: `M${LEFT} ${y(limit)}H${LEFT + WIDTH}`, stroke: "#1d2327", "stroke-width": 1.2, "stroke-dasharray": "2 4" }),
        label(LEFT + 6, y(limit) + 12, `headwind: limit ${RP.kn(limit)} kn`, "start"));
    }
  }

  function curve(art, hours, x, y) {
    let path = "", open = false;
    for (const [minute, value] of hours) {
      if (value === null) { open = false; continue; }
      path += `${open ? "L" : "M"}${x(minute).toFixed(1)} ${y(value).toFixed(1)}`;
      open = true;
    }
    if (path) art.append(RP.svg("path", { d: path, fill: "none", stroke: "#0b4a66", "stroke-width": 2 }));
  }

  function label(x, y, text, anchor) {
    return RP.svg("text", { x, y, "text-anchor": anchor, "font-size": 11.5, "paint-order": "stroke", stroke: "#fff", "stroke-width": 3 }, text);
  }

  function ticks(most) {
    const step = [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50].find((it) => most / it <= 4.5) || 100;
    const out = [];
    for (let value = 0; value <= most; value += step) out.push(Math.round(value * 10) / 10);
    return out;
  }

  const figure = (value, panel) => (value / panel.scale).toFixed(panel.unit === "m" ? 1 : 0);

  function legSpan(stage, i, j) {
    const enter = stage.leg.enter[j][i], leave = stage.leg.leave[j][i], launch = stage.launch[i];
    return [enter === null ? null : launch + enter, leave === null ? null : launch + leave];
  }

  function axis(art, begin, end, x, bottom) {
    const step = WIDTH / ((end - begin) / 180) > 52 ? 180 : 360;
    for (let minute = begin; minute <= end; minute += step) {
      art.append(RP.svg("path", { d: `M${x(minute)} ${bottom}v5`, stroke: "#1d2327" }),
        RP.svg("text", { x: x(minute), y: bottom + 19, "text-anchor": "middle", "font-size": 12 }, RP.clock(minute)));
    }
  }

  function marks(art, stage, i, launch, arrive, x, bottom) {
    const dusk = duskOf(stage, launch), margin = RP.data.limits.daylight;
    upright(art, x(launch), bottom, "launch", "end", "", 0);
    if (stage.arrive[i] !== null) upright(art, x(arrive), bottom, "ashore", "start", "", 0);
    if (dusk !== null && margin !== null) upright(art, x(dusk - margin), bottom, `ashore by ${RP.clock(dusk - margin)}`, "end", "9 4", 14); // higher: never over the other two
  }

  function upright(art, x, bottom, text, anchor, dash, raise) {
    art.append(RP.svg("path", { d: `M${x} ${TOP - 30 - raise}V${bottom}`, stroke: "#1d2327", "stroke-width": 1.5, "stroke-dasharray": dash || null }),
      label(x + (anchor === "end" ? -4 : 4), TOP - 22 - raise, text, anchor));
  }

  function duskOf(stage, launch) {
    for (const [rise, dusk] of stage.dusk || []) if (dusk >= launch && dusk - launch < 1440 && rise <= launch) return dusk;
    return null;
  }

  function readout(stage, i, launch, arrive) {
    const dusk = duskOf(stage, launch);
    const out = [`Launch ${RP.moment(launch)}, ashore ${stage.arrive[i] === null ? "unknown" : RP.moment(arrive)}`];
    if (dusk !== null) out.push(`civil dusk ${RP.moment(dusk)}`);
    RP.byId("rp-dayread").textContent = `${out.join("; ")}.`;
  }

  function table(stage, i, begin, end) {
    const rows = stage.weather.time.map((minute, k) => [minute, k]).filter(([minute]) => minute >= begin && minute <= end)
      .map(([minute, k]) => [RP.time(minute, RP.moment(minute)), RP.kn(stage.weather.wind[k]), RP.kn(stage.weather.gust[k]), RP.figure(stage.weather.wave[k], 100, 1)]);
    RP.byId("rp-daytable").replaceChildren(RP.table(["worst on the line at", "wind kn", "gusts kn", "waves m"], rows));
  }
})();
