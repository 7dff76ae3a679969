// Fetch rose of one leg: open water by the direction the wind comes from, on a logarithmic scale.
"use strict";
(() => {
  const MID = 200, OUTER = 158, LOW = 100; // m at the middle
  const POINTS = ["N", "NE", "E", "SE", "S", "SW", "W", "NW"];

  // `words` say what the leg is at the launch chosen; null without one.
  RP.drawRose = (leg, words) => {
    const box = RP.byId("rp-rosebox");
    if (!box) return;
    const top = Math.max(leg.capped_m, 10 * LOW);
    const radius = (m) => (m === null || m <= LOW ? 0 : (OUTER * Math.log(m / LOW)) / Math.log(top / LOW));
    const art = RP.svg("svg", { viewBox: "0 0 400 400", role: "img", "aria-label": `Open water around leg ${leg.number} by wind direction; the table has the figures` });
    for (let ring = LOW * 10; ring <= top; ring *= 10) {
      art.append(RP.svg("circle", { cx: MID, cy: MID, r: radius(ring), fill: "none", stroke: "#9aa0a6", "stroke-dasharray": "3 3" }));
    }
    leg.fetch_m.forEach((m, k) => {
      if (m === null) return;
      const shape = wedge(k * 10 - 5, k * 10 + 5, Math.max(radius(m), 2));
      art.append(RP.svg("path", { d: shape, fill: "#5f7f8f", stroke: "#fff", "stroke-width": 0.7 },
        RP.svg("title", {}, `wind from ${String(k * 10).padStart(3, "0")}°: ${RP.metres(m)} of open water`)));
      if (leg.off[k] !== null && leg.off[k] >= 50) art.append(RP.svg("path", { d: shape, fill: "url(#rp-p-over)" }));
    });
    for (let ring = LOW * 10; ring <= top; ring *= 10) {
      art.append(RP.svg("text", { x: MID + 4, y: MID - radius(ring) + 12, "font-size": 11, "paint-order": "stroke", stroke: "#fff", "stroke-width": 3 }, RP.metres(ring).replace(".0", "")));
    }
    POINTS.forEach((name, k) => {
      const [x, y] = at(k * 45, OUTER + 20);
      art.append(RP.svg("text", { x, y: y + 5, "text-anchor": "middle", "font-size": 14, "font-weight": 700 }, name));
    });
    const [x0, y0] = at(leg.course + 180, OUTER), [x1, y1] = at(leg.course, OUTER);
    art.append(RP.svg("path", { d: `M${x0} ${y0}L${x1} ${y1}`, stroke: "#1d2327", "stroke-width": 1.6, "stroke-dasharray": "8 3" }),
      RP.svg("circle", { cx: x1, cy: y1, r: 4, fill: "#1d2327" }));
    box.replaceChildren(art);
    RP.byId("rp-legwords").replaceChildren(
      RP.html("h3", {}, `Leg ${leg.number}: ${leg.from} – ${leg.to}`),
      RP.html("p", {}, `${(leg.length_m / 1000).toFixed(1)} km on ${String(leg.course).padStart(3, "0")}°; at most ${RP.metres(leg.max_m)} from shore, ${RP.metres(leg.mean_m)} in the mean.`),
      RP.html("p", {}, `${leg.details[0].toUpperCase()}${leg.details.slice(1)}.`),
      words === null ? "" : RP.html("p", {}, RP.chip(words.verdict), ` ${words.words}`),
      ...leg.flags.map((flag) => RP.html("p", { class: "warning" }, flag)),
      RP.html("p", { class: "key" }, "Each wedge: open water toward the direction the wind comes from. Hatched: that wind blows off the land on half of the leg or more. Broken line with a dot: your course."),
      RP.html("details", {}, RP.html("summary", {}, "Figures of the rose as a table"),
        RP.html("div", { class: "wide", tabindex: "0", role: "region", "aria-label": `Open water around leg ${leg.number} by wind direction` },
          RP.table(["wind from", "open water", "off the land", "onto the shore"],
            leg.fetch_m.map((m, k) => [`${String(k * 10).padStart(3, "0")}°`, RP.metres(m), share(leg.off[k]), share(leg.on[k])])))));
  };

  const share = (value) => (value === null ? RP.UNKNOWN : `${value} %`);

  function at(bearing, r) {
    const angle = (bearing * Math.PI) / 180;
    return [MID + r * Math.sin(angle), MID - r * Math.cos(angle)].map((v) => Math.round(v * 10) / 10);
  }

  function wedge(from, to, r) {
    const [x0, y0] = at(from, r), [x1, y1] = at(to, r);
    return `M${MID} ${MID}L${x0} ${y0}A${r} ${r} 0 0 1 ${x1} ${y1}Z`;
  }
})();
