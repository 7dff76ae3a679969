// The map: coast, legs, places and the ways out of the launch proposed.
"use strict";
(() => {
  const INK = "#1d2327", LAND = "#d8d3c8", SHORE = "#8b857a", WATER = "#eef4f7";
  // Near to far from shore: light to dark (cividis of matplotlib, reversed, nine steps).
  const RAMP = ["#fee838", "#e1cc55", "#c3b369", "#a59c74", "#8a8678", "#707173", "#575d6d", "#35456c", "#00224e"];
  const DASH = { W: "solid", C: "dashed", U: "dotted", B: "dotdash" };
  const TOUCH = matchMedia("(pointer: coarse)").matches;
  let now = null;

  RP.drawMap = async (map) => {
    const box = RP.byId("rp-mapbox");
    if (!box) return;
    RP.byId("rp-plainmap").hidden = true;
    RP.byId("rp-drag").hidden = !TOUCH;
    for (const id of ["rp-mapbar", "rp-maphint", "rp-mapread", "rp-mapkey"]) RP.byId(id).hidden = false;
    if (now && now.map.ground === map.ground) { // the drawing of before serves, with its view
      now.map = map;
      box.replaceWith(now.box);
      return;
    }
    const keep = now ? now.view() : null;
    const alike = now && now.map.box.every((v, k) => v === map.box[k]);
    if (now) forget(now);
    box.hidden = false;
    box.addEventListener("keydown", keys);
    const { figure, edges, drag } = ground(map);
    now = { map, box, figure, edges, drag, ...layers(figure, map) };
    const holder = RP.html("div");
    box.prepend(holder);
    await Bokeh.Plotting.show(figure, holder);
    for (const layer of deep(holder, ".bk-events")) layer.tabIndex = -1; // the box itself has the keys
    now.view = viewing(figure, map, box, alike ? keep : null);
  };

  function deep(element, selector) {
    const roots = [...element.querySelectorAll("*")].map((it) => it.shadowRoot).filter(Boolean);
    return [...element.querySelectorAll(selector), ...roots.flatMap((root) => deep(root, selector))];
  }

  function forget({ figure }) {
    const of = figure.document, k = Bokeh.documents.indexOf(of);
    if (k >= 0) Bokeh.documents.splice(k, 1);
    if (of) of.clear();
  }

  function keys(event) {
    const move = { ArrowLeft: [-0.15, 0], ArrowRight: [0.15, 0], ArrowUp: [0, 0.15], ArrowDown: [0, -0.15] }[event.key];
    const factor = { "+": 0.7, "=": 0.7, "-": 1 / 0.7 }[event.key];
    if ((!move && !factor) || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    if (move) now.move(...move);
    else now.zoom(factor);
  }

  function ground(map) {
    const [left, bottom, right, top] = map.box;
    const figure = Bokeh.Plotting.figure({
      tools: [], toolbar_location: null, sizing_mode: "stretch_both", min_border: 0, outline_line_color: null,
      x_range: new Bokeh.Range1d({ start: left, end: right, bounds: [map.bounds[0], map.bounds[2]] }),
      y_range: new Bokeh.Range1d({ start: bottom, end: top, bounds: [map.bounds[1], map.bounds[3]] }),
      background_fill_color: WATER, output_backend: "canvas",
    });
    for (const axis of [...figure.xaxes, ...figure.yaxes]) axis.visible = false;
    for (const grid of [...figure.xgrids, ...figure.ygrids]) grid.visible = false;
    const rings = map.land.map((land) => land.map(unpack));
    figure.multi_polygons(rings.map((land) => [land.map((ring) => ring[0])]), rings.map((land) => [land.map((ring) => ring[1])]),
      { fill_color: LAND, line_color: SHORE, line_width: 0.8 });
    const lines = map.shore.flat().map(unpack);
    if (lines.length) figure.multi_line(lines.map((line) => line[0]), lines.map((line) => line[1]), { line_color: SHORE, line_width: 1.2 });
    const edges = graticule(figure, map);
    figure.add_layout(new Bokeh.ScaleBar({
      range: figure.x_range, unit: "m", dimensional: new Bokeh.MetricLength(), location: "bottom_left", bar_length: 110, bar_length_units: "screen",
      background_fill_color: "#ffffff", background_fill_alpha: 0.85, border_line_color: INK, bar_line_color: INK, length_sizing: "adaptive",
    }));
    const drag = new Bokeh.PanTool(), wheel = new Bokeh.WheelZoomTool({ modifiers: { ctrl: true } });
    figure.add_tools(drag, wheel);
    figure.toolbar.active_scroll = wheel;
    figure.toolbar.active_drag = TOUCH ? null : drag; // a finger scrolls the page until told otherwise
    return { figure, edges, drag };
  }

  function unpack(steps) {
    const xs = [], ys = [];
    let x = 0, y = 0;
    for (let k = 0; k < steps.length; k += 2) {
      x += steps[k];
      y += steps[k + 1];
      xs.push(x);
      ys.push(y);
    }
    return [xs, ys];
  }

  function graticule(figure, map) {
    const [left, bottom, right, top] = map.box, wide = right - left, high = top - bottom, grid = map.grid;
    const xs = [...grid.x.map((x) => [x, x]), ...grid.y.map(() => [left - wide, right + wide])];
    const ys = [...grid.x.map(() => [bottom - high, top + high]), ...grid.y.map((y) => [y, y])];
    figure.multi_line(xs, ys, { line_color: "#a9b8c2", line_width: 0.6 });
    const style = { text_font_size: "11px", text_color: "#4d565c" };
    const east = source({ x: [], y: [], t: [] }), north = source({ x: [], y: [], t: [] });
    figure.text({ field: "x" }, { field: "y" }, { field: "t" }, { ...style, source: east, y_offset: -2, x_offset: 2 });
    figure.text({ field: "x" }, { field: "y" }, { field: "t" }, { ...style, source: north, x_offset: 2, y_offset: -2 });
    // The figures of the edge stand at the edge of what is seen.
    return (x, y) => {
      east.data = { x: grid.x, y: grid.x.map(() => y.start), t: grid.east };
      north.data = { x: grid.y.map(() => x.start), y: grid.y, t: grid.north };
    };
  }

  const source = (data) => new Bokeh.ColumnDataSource({ data });

  function layers(figure, map) {
    const legs = map.legs;
    const xs = legs.map((leg) => leg.x), ys = legs.map((leg) => leg.y);
    const names = turnNames(figure, map);
    const halo = source({ x: [], y: [] });
    figure.line({ field: "x" }, { field: "y" }, { source: halo, line_color: "#0b4a66", line_width: 17, line_alpha: 0.35, line_cap: "round" });
    const ties = source(crossStrokes(map));
    const tied = figure.scatter({ field: "x" }, { field: "y" }, { source: ties, marker: "dash", size: 17, angle: { field: "angle" }, line_color: INK, line_width: 1.6 });
    figure.multi_line(xs, ys, { line_color: INK, line_width: 8, line_join: "round", line_cap: "round" });
    const pieces = source(piecesOf(map));
    const byShore = figure.multi_line({ field: "xs" }, { field: "ys" }, { source: pieces, line_color: { field: "color" }, line_width: 5, line_cap: "round" });
    const whole = source({ xs, ys, color: legs.map(() => "#fff"), dash: legs.map(() => "solid"), words: legs.map(() => ""), at: legs.map((_, k) => k) });
    const byVerdict = figure.multi_line({ field: "xs" }, { field: "ys" }, { source: whole, line_color: { field: "color" }, line_width: 5, line_dash: { field: "dash" } });
    byVerdict.visible = false;
    overLand(figure, legs.flatMap((leg) => leg.land));
    const hit = figure.multi_line({ field: "xs" }, { field: "ys" }, { source: whole, line_color: INK, line_width: 18, line_alpha: 0 });
    const badges = source({ x: legs.map(middle("x")), y: legs.map(middle("y")), text: legs.map((leg) => String(leg.number)), fill: legs.map(() => "#fff"), ink: legs.map(() => INK) });
    const numbers = [figure.scatter({ field: "x" }, { field: "y" }, { source: badges, marker: "circle", size: 23, fill_color: { field: "fill" }, line_color: INK, line_width: 1.5 }),
      figure.text({ field: "x" }, { field: "y" }, { field: "text" }, { source: badges, text_align: "center", text_baseline: "middle", text_font_size: "12px", text_font_style: "bold", text_color: { field: "ink" } })];
    const ways = waysOut(figure);
    const told = [...places(figure, map), ...ways.told];
    quiet([tied, byShore, byVerdict, hit]);
    figure.add_tools(new Bokeh.TapTool({ renderers: [hit, ...told.map((it) => it.renderer)] }));
    told.push({ renderer: hit, source: whole });
    hover(figure, told);
    whole.selected.properties.indices.change.connect(() => {
      const [k] = whole.selected.indices;
      if (k !== undefined) RP.pickLeg(k);
    });
    return { halo, pieces, whole, badges, byShore, byVerdict, tied, ...ways, names, numbers };
  }

  // Where the line lies on land it is black with white dashes, which no distance and no verdict is.
  function overLand(figure, stretches) {
    if (!stretches.length) return;
    const xs = stretches.map((it) => it[0]), ys = stretches.map((it) => it[1]);
    figure.multi_line(xs, ys, { line_color: INK, line_width: 8 });
    figure.multi_line(xs, ys, { line_color: "#ffffff", line_width: 3.5, line_dash: "dashed" });
  }

  const middle = (key) => (leg) => leg[key][Math.floor(leg[key].length / 2)];

  // Selected glyphs look like all others: what is selected is told by the halo.
  function quiet(renderers) {
    for (const it of renderers) it.setv({ selection_glyph: null, nonselection_glyph: null, muted_glyph: null });
  }

  // What is under the pointer is told in a box of our own, which may break lines; what is first
  // in the list comes first. What is tapped is told below the map.
  function hover(figure, told) {
    const tip = RP.html("p", { class: "tip", hidden: "" });
    RP.byId("rp-mapbox").append(tip);
    const hits = new Map();
    const wordsOf = ({ source }, indices) => (indices.length ? source.data.words[indices[0]] : "");
    const callback = (_, { geometry, renderer }) => {
      const found = renderer.data_source.inspected;
      hits.set(renderer, [...found.indices, ...Object.keys(found.multiline_indices || {}).map(Number)]);
      const at = told.find((it) => (hits.get(it.renderer) || []).length && it.renderer.visible);
      tip.hidden = !at;
      if (!at) return;
      tip.textContent = wordsOf(at, hits.get(at.renderer));
      const box = RP.byId("rp-mapbox"), x = Math.min(geometry.sx + 14, box.clientWidth - tip.offsetWidth - 6);
      tip.style.left = `${Math.max(x, 4)}px`;
      tip.style.top = `${geometry.sy + (geometry.sy > box.clientHeight / 2 ? -tip.offsetHeight - 12 : 18)}px`;
    };
    figure.add_tools(new Bokeh.HoverTool({ renderers: told.map((it) => it.renderer), tooltips: null, callback, toggleable: false }));
    RP.byId("rp-mapbox").addEventListener("pointerleave", () => { tip.hidden = true; });
    for (const it of told) {
      it.source.selected.properties.indices.change.connect(() => {
        const words = wordsOf(it, it.source.selected.indices);
        if (words) RP.byId("rp-mapread").textContent = words;
      });
    }
  }

  function piecesOf(map) {
    const out = { xs: [], ys: [], color: [], at: [] };
    map.legs.forEach((leg, at) => {
      for (let k = 1; k < leg.x.length; k += 1) {
        const a = leg.shore_m[k - 1], b = leg.shore_m[k], far = a === null || b === null ? null : Math.max(a, b);
        out.xs.push([leg.x[k - 1], leg.x[k]]);
        out.ys.push([leg.y[k - 1], leg.y[k]]);
        out.color.push(far === null ? "#ffffff" : RAMP[Math.min(Math.floor((far / map.far_m) * RAMP.length), RAMP.length - 1)]);
        out.at.push(at);
      }
    });
    return out;
  }

  function crossStrokes(map) {
    const out = { x: [], y: [], angle: [] };
    const gap = (map.box[2] - map.box[0]) / 130;
    for (const leg of map.legs) {
      for (const [from, to] of leg.far) {
        let last = -Infinity;
        for (let k = 1; k < leg.x.length; k += 1) {
          const along = leg.along_m[k];
          if (along < from || along > to || along - last < gap) continue;
          last = along;
          out.x.push(leg.x[k]);
          out.y.push(leg.y[k]);
          out.angle.push(Math.atan2(leg.y[k] - leg.y[k - 1], leg.x[k] - leg.x[k - 1]) + Math.PI / 2);
        }
      }
    }
    return out;
  }

  function places(figure, map) {
    const marker = { start: "square", finish: "square", camp: "triangle", turn: "circle", landing: "inverted_triangle", water: "diamond" };
    const all = map.places.filter((it) => it.at);
    const columns = source({
      x: all.map((it) => it.at[0]), y: all.map((it) => it.at[1]), name: all.map((it) => it.name),
      words: all.map((it) => `${it.name}, ${it.kind === "turn" ? "turning point" : it.kind}${it.where ? `, ${it.where}` : ""}`),
      marker: all.map((it) => marker[it.kind] || "diamond"), size: all.map((it) => (it.kind === "turn" ? 7 : 15)),
    });
    const drawn = figure.scatter({ field: "x" }, { field: "y" }, { source: columns, marker: { field: "marker" }, size: { field: "size" }, fill_color: "#fff", line_color: INK, line_width: 1.8 });
    quiet([drawn]);
    written(figure, map, all.filter((it) => it.kind !== "turn"), { text_font_size: "13px", text_font_style: "bold" });
    return [{ renderer: drawn, source: columns }];
  }

  // Names of turning points lie under the route, so that they hide nothing of it.
  function turnNames(figure, map) {
    return written(figure, map, map.places.filter((it) => it.at && it.kind === "turn"), { text_font_size: "11.5px", text_font_style: "italic" });
  }

  function written(figure, map, some, style) {
    const sides = some.map((it) => side(map, it));
    return figure.text({ field: "x" }, { field: "y" }, { field: "name" }, {
      source: source({ x: some.map((it) => it.at[0]), y: some.map((it) => it.at[1]), name: some.map((it) => short(it.name)),
        align: sides, off: sides.map((it) => (it === "right" ? -12 : 12)), up: some.map((it) => (it.kind === "turn" ? 0 : 14 * above(map, it))) }),
      text_align: { field: "align" }, x_offset: { field: "off" }, y_offset: { field: "up" }, text_color: INK, text_baseline: "middle",
      background_fill_color: "#ffffff", background_fill_alpha: 0.75, padding: 1, ...style });
  }

  const short = (name) => (name.length > 28 ? `${name.slice(0, 27)}…` : name);

  // -1 where a name is better above its place, 1 where below: the route goes the other way.
  function above(map, place) {
    return pull(map, place, "y", 1) > 0 ? 1 : -1;
  }

  // A name is written away from the legs that meet there, and inwards at the edge.
  function side(map, place) {
    const [x] = place.at, [left, , right] = map.box;
    if (x > left + 0.8 * (right - left)) return "right";
    if (x < left + 0.2 * (right - left)) return "left";
    return pull(map, place, "x", 0) > 0 ? "right" : "left";
  }

  // To where the legs lead that meet at a place, along x or y.
  function pull(map, place, key, k) {
    const [x, y] = place.at;
    let sum = 0;
    for (const leg of map.legs) {
      const n = leg.x.length - 1;
      if (Math.hypot(leg.x[0] - x, leg.y[0] - y) < 5) sum += leg[key][Math.min(n, 8)] - place.at[k];
      if (Math.hypot(leg.x[n] - x, leg.y[n] - y) < 5) sum += leg[key][Math.max(n - 8, 0)] - place.at[k];
    }
    return sum;
  }

  function waysOut(figure) {
    const landings = source({ xs: [], ys: [], words: [] }), shores = source({ x: [], y: [], words: [] });
    const drift = source({ xs: [], ys: [], words: [], color: [] }), ends = source({ x: [], y: [], words: [], marker: [] });
    const bails = source({ x: [], y: [], words: [], fill: [] });
    const drawn = {
      landings: [figure.multi_line({ field: "xs" }, { field: "ys" }, { source: landings, line_color: INK, line_width: 1.6, line_dash: "dotted" }),
        figure.scatter({ field: "x" }, { field: "y" }, { source: shores, marker: "x", size: 11, line_color: INK, line_width: 2.6 })],
      drift: [figure.multi_line({ field: "xs" }, { field: "ys" }, { source: drift, line_color: "#8a1c00", line_width: 2, line_dash: "dashed" }),
        figure.scatter({ field: "x" }, { field: "y" }, { source: ends, marker: { field: "marker" }, size: 9, line_color: "#8a1c00", fill_color: "#ffffff", line_width: 2 })],
      bailouts: [figure.scatter({ field: "x" }, { field: "y" }, { source: bails, marker: "circle", size: 10, fill_color: { field: "fill" }, line_color: INK, line_width: 1.3 })],
    };
    for (const it of Object.values(drawn)) quiet(it);
    const told = [shores, ends, bails].map((it, k) => ({ source: it, renderer: [drawn.landings[1], drawn.drift[1], drawn.bailouts[0]][k] }));
    return { told, drawn, landings, shores, drift, ends, bails };
  }

  // How far the middles of legs are apart in the mean.
  function spacing(legs) {
    const far = legs.slice(1).map((leg, k) => Math.hypot(middle("x")(leg) - middle("x")(legs[k]), middle("y")(leg) - middle("y")(legs[k])));
    return far.length ? far.reduce((sum, it) => sum + it, 0) / far.length : legs[0].along_m.at(-1);
  }

  // Ranges that keep one scale in both directions, whatever the size of the box.
  function viewing(figure, map, box, keep) {
    const { x_range: x, y_range: y } = figure;
    const set = (cx, cy, perPixel) => {
      const wide = (figure.inner_width || box.clientWidth) * perPixel, high = (figure.inner_height || box.clientHeight) * perPixel;
      x.setv({ start: cx - wide / 2, end: cx + wide / 2 });
      y.setv({ start: cy - high / 2, end: cy + high / 2 });
    };
    const show = ([left, bottom, right, top]) =>
      set((left + right) / 2, (bottom + top) / 2, Math.max((right - left) / (figure.inner_width || box.clientWidth), (top - bottom) / (figure.inner_height || box.clientHeight)));
    const view = () => ({ x: (x.start + x.end) / 2, y: (y.start + y.end) / 2, perPixel: (x.end - x.start) / (figure.inner_width || 1) });
    let last = keep;
    // Names of turning points and numbers of legs are written once there is room for them.
    const room = spacing(map.legs) / 90;
    const seen = () => {
      now.edges(x, y);
      now.names.visible = view().perPixel < room;
      for (const it of now.numbers) it.visible = view().perPixel < 4 * room;
    };
    if (keep) set(keep.x, keep.y, keep.perPixel);
    else show(map.box);
    last = view();
    const fit = () => set(last.x, last.y, last.perPixel);
    figure.properties.inner_width.change.connect(fit);
    figure.properties.inner_height.change.connect(fit);
    for (const range of [x, y]) range.properties.start.change.connect(() => { if (x.end > x.start) last = view(); seen(); });
    seen();
    now.show = show;
    now.move = (dx, dy) => { const it = view(); set(it.x + dx * (x.end - x.start), it.y + dy * (y.end - y.start), it.perPixel); };
    now.zoom = (factor) => { const it = view(); set(it.x, it.y, it.perPixel * factor); };
    return view;
  }

  RP.map = {
    touch: TOUCH,
    drag: () => {
      const { toolbar } = now.figure;
      toolbar.active_drag = now.drag.active ? null : now.drag;
      now.drag.active = toolbar.active_drag !== null;
      return now.drag.active;
    },
    whole: () => now && now.show(now.map.box),
    zoom: (factor) => now && now.zoom(factor),
    stage: (numbers) => {
      if (!now) return;
      const legs = now.map.legs.filter((leg) => numbers.includes(leg.number));
      const xs = legs.flatMap((leg) => leg.x), ys = legs.flatMap((leg) => leg.y);
      const pad = 0.12 * Math.max(Math.max(...xs) - Math.min(...xs), Math.max(...ys) - Math.min(...ys), 500);
      now.show([Math.min(...xs) - pad, Math.min(...ys) - pad, Math.max(...xs) + pad, Math.max(...ys) + pad]);
    },
    // `told` has for each leg of the route the letter of its verdict ("" where it is not of the stage) and its words.
    legs: (told, mode, selected) => {
      if (!now) return;
      const verdict = mode === "verdict";
      now.byShore.visible = !verdict;
      now.tied.visible = !verdict;
      now.byVerdict.visible = verdict;
      now.whole.data = { ...now.whole.data, words: told.map((it) => it.words), color: told.map((it) => RP.FILL[it.verdict] || "#c9c6bc"), dash: told.map((it) => DASH[it.verdict] || "solid") };
      now.badges.data = { ...now.badges.data, text: now.map.legs.map((leg, k) => (verdict && told[k].verdict ? `${leg.number}${told[k].verdict}` : String(leg.number))) };
      const leg = now.map.legs[selected];
      now.halo.data = leg ? { x: leg.x, y: leg.y } : { x: [], y: [] };
    },
    ways: (at, shown, strength) => {
      if (!now) return;
      for (const it of Object.values(now.drawn).flat()) it.glyph.line_alpha = { value: strength };
      const it = now.map.stages[at];
      const landings = it.landings.filter((way) => way.to);
      now.landings.data = { xs: landings.map((way) => [way.from[0], way.to[0]]), ys: landings.map((way) => [way.from[1], way.to[1]]), words: landings.map((way) => way.words) };
      now.shores.data = { x: landings.map((way) => way.to[0]), y: landings.map((way) => way.to[1]), words: landings.map((way) => way.words) };
      const tracks = it.drift.flatMap((way) => way.tracks.map((track) => ({ ...track, words: way.words, who: way.who })));
      now.drift.data = { xs: tracks.map((way) => way.x), ys: tracks.map((way) => way.y), words: tracks.map((way) => way.words), color: tracks.map(() => INK) };
      now.ends.data = { x: tracks.map((way) => way.x.at(-1)), y: tracks.map((way) => way.y.at(-1)), words: tracks.map((way) => way.words), marker: tracks.map((way) => (way.who === "in the water" ? "circle" : "square")) };
      now.bails.data = { x: it.bailouts.map((way) => way.at[0]), y: it.bailouts.map((way) => way.at[1]), words: it.bailouts.map((way) => way.words), fill: it.bailouts.map((way) => (way.commits ? INK : "#ffffff")) };
      for (const [name, renderers] of Object.entries(now.drawn)) for (const renderer of renderers) renderer.visible = shown[name];
    },
    ramp: RAMP,
  };
})();
