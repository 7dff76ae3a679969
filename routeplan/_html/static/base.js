// What every drawing of the report shares: elements, local time, figures, verdicts.
"use strict";
const RP = {};
document.documentElement.classList.add("live"); // shows what only scripts can serve
(() => {
  const SVG = "http://www.w3.org/2000/svg";

  RP.byId = (id) => document.getElementById(id);

  // An element with attributes and children; text becomes a text node, never markup.
  RP.html = (name, attributes = {}, ...children) => fill(document.createElement(name), attributes, children);
  RP.svg = (name, attributes = {}, ...children) => fill(document.createElementNS(SVG, name), attributes, children);

  function fill(element, attributes, children) {
    for (const [key, value] of Object.entries(attributes)) {
      if (value !== null && value !== undefined && value !== false) element.setAttribute(key, value);
    }
    element.append(...children.flat().filter((child) => child !== null && child !== undefined));
    return element;
  }

  RP.WORDS = { W: "within", C: "close", U: "unknown", B: "beyond" };
  RP.LONG = { W: "within every limit judged", C: "close to a limit", U: "unknown", B: "beyond a limit" };
  RP.FILL = { W: "#d8e219", C: "#35a885", U: "#ffffff", B: "#46226b" };
  RP.UNKNOWN = "?";

  RP.chip = (letter) => RP.html("span", { class: `chip v-${letter}`, "aria-hidden": "true" }, letter);

  // Minutes since 1970 UTC to local time, by the spans of the plan's zone.
  const DAYS = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
  const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
  const two = (value) => String(value).padStart(2, "0");

  function span(minute) {
    const spans = RP.data.zone.spans;
    let found = spans[0];
    for (const it of spans) if (it[0] <= minute) found = it;
    return found;
  }
  RP.local = (minute) => new Date((minute + span(minute)[1]) * 60000); // read by its UTC fields
  RP.clock = (minute) => (minute === null ? RP.UNKNOWN : two(RP.local(minute).getUTCHours()) + ":" + two(RP.local(minute).getUTCMinutes()));
  RP.day = (minute) => {
    const at = RP.local(minute);
    return `${DAYS[at.getUTCDay()]} ${at.getUTCDate()} ${MONTHS[at.getUTCMonth()]}`;
  };
  RP.moment = (minute) => (minute === null ? RP.UNKNOWN : `${RP.day(minute)} ${RP.clock(minute)} ${span(minute)[2]}`);
  RP.midnight = (minute) => {
    const at = RP.local(minute);
    return minute - at.getUTCHours() * 60 - at.getUTCMinutes();
  };
  RP.time = (minute, words) => {
    if (minute === null) return RP.html("span", {}, RP.UNKNOWN);
    const utc = new Date(minute * 60000).toISOString().slice(0, 16);
    return RP.html("time", { datetime: `${utc}Z`, title: `${utc.replace("T", " ")} UTC` }, words || RP.clock(minute));
  };

  // Scaled whole numbers to figures; null is unknown.
  RP.figure = (value, scale, digits) => (value === null || value === undefined ? RP.UNKNOWN : (Math.round((value / scale) * 10 ** digits) / 10 ** digits + 0).toFixed(digits));
  RP.kn = (value) => RP.figure(value, 10, 0);
  RP.percent = (value) => (value === null ? RP.UNKNOWN : `${Math.trunc(value / 10)} %`);
  RP.inHand = (value) => (value !== null && value < 0 ? `${RP.percent(-value)} over` : RP.percent(value));
  RP.head = (value) => (value !== null && Math.round(value / 10) < 0 ? `${RP.kn(-value)} behind` : RP.kn(value));
  RP.metres = (value) => {
    if (value === null || value === undefined) return RP.UNKNOWN;
    return value < 1000 ? `${Math.round(value)} m` : `${(value / 1000).toFixed(1)} km`;
  };

  RP.table = (heads, rows) =>
    RP.html("table", {},
      RP.html("thead", {}, RP.html("tr", {}, heads.map((head) => RP.html("th", { scope: "col" }, head)))),
      RP.html("tbody", {}, rows.map((row) => RP.html("tr", {}, row.map((cell, i) =>
        i === 0 ? RP.html("th", { scope: "row" }, cell) : RP.html("td", { class: typeof cell === "string" ? "n" : null }, cell))))));

  const said = (margin) => (margin !== null && margin < 0 ? RP.inHand(margin) : `${RP.percent(margin)} in hand`);

  // What leg j (place within its stage) of launch i is, in words.
  RP.legWords = (stage, i, j) => {
    const leg = stage.leg, verdict = leg.verdict[j][i];
    const limit = leg.binding[j][i] === null ? "" : `, ${leg.limits[leg.binding[j][i]]}`;
    return `${RP.WORDS[verdict]}${limit}; wind ${RP.kn(leg.wind[j][i])} kn, gusts ${RP.kn(leg.gust[j][i])} kn, ` +
      `headwind ${RP.head(leg.head[j][i])} kn, waves ${RP.figure(leg.wave[j][i], 100, 1)} m, ${said(leg.margin[j][i])}`;
  };
})();
