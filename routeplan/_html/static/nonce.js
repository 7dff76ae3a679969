// The chart library writes style elements into shadow roots. This hands them the nonce of this
// script, so that a policy on styles can do without 'unsafe-inline'.
"use strict";
(() => {
  const nonce = document.currentScript.nonce;
  const make = Document.prototype.createElement;
  if (!nonce) return;
  Document.prototype.createElement = function createElement(name, options) {
    const element = make.call(this, name, options);
    if (String(name).toLowerCase() === "style") element.nonce = nonce;
    return element;
  };
})();
