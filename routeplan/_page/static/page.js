// The page while it is open: asks how far the work is, sends changes, puts new parts in place.
// Without it everything still works by plain forms and reloading.
"use strict";
(() => {
  const SOON_MS = 60;
  const LATER_MS = 400;
  const WAIT_MS = 350; // after the last key, before a change is sent

  const byId = (id) => document.getElementById(id);
  const wait = (ms) => new Promise((done) => setTimeout(done, ms));

  async function ask(address, options = {}) {
    const headers = { Accept: "application/json" };
    const reply = await fetch(address, { headers, cache: "no-store", ...options });
    const kind = reply.headers.get("Content-Type") || "";
    if (!kind.startsWith("application/json")) {
      throw new Error(
        reply.status === 404 ? "This trip was removed: start anew." : `The page says ${reply.status}.`
      );
    }
    return reply.json();
  }

  function showProgress(state, words) {
    words.textContent = state.words || "";
    const bar = byId("progress-bar");
    if (state.share === null || state.share === undefined) bar.removeAttribute("value");
    else bar.value = state.share;
  }

  const busy = (state) => state.state === "waiting" || state.state === "working";

  // ---- while there is no answer yet: look, and load the page again when there is one

  async function watchFirst(section) {
    const began = Date.now();
    for (;;) {
      await wait(Date.now() - began < 3000 ? 2 * SOON_MS : LATER_MS);
      try {
        const state = await ask(`${section.dataset.trip}/state`);
        if (!busy(state)) break;
        showProgress(state, byId("progress-words"));
      } catch (error) {
        byId("progress-words").textContent = error.message;
        return;
      }
    }
    location.reload();
  }

  // ---- with an answer: change it in place

  class Controls {
    constructor(section) {
      this.trip = section.dataset.trip;
      this.answer = Number(section.dataset.answer);
      this.form = byId("change");
      this.round = 0;
      this.timer = 0;
      this.form.addEventListener("submit", (event) => this.submitted(event));
      this.form.addEventListener("change", (event) => this.changed(event));
      document.addEventListener("routeplan:launch", (event) => this.launched(event.detail));
      byId("pick-not").addEventListener("click", () => (byId("pick").hidden = true));
      document.addEventListener("visibilitychange", () => this.lookedAt());
      if (section.dataset.busy === "yes") this.follow(++this.round);
    }

    changed(event) {
      clearTimeout(this.timer);
      const unit = event.target.id.endsWith("_unit");
      const number = unit ? byId(event.target.id.replace(/_unit$/, "")) : null;
      if (number && number.value === "") return; // a unit without a number says nothing
      this.timer = setTimeout(() => this.send(), event.target.tagName === "SELECT" ? 0 : WAIT_MS);
    }

    submitted(event) {
      event.preventDefault();
      clearTimeout(this.timer);
      const button = event.submitter;
      if (button && button.id === "cancel-button") this.post("cancel");
      else this.send();
    }

    // The reader looks at another launch in the report: offer to plan with it.
    launched(detail) {
      const list = byId(`launch_${detail.stage}`);
      if (!list) return;
      const same = (text) => text && new Date(text).getTime() === new Date(detail.launch).getTime();
      const option = [...list.options].find((one) => same(one.value));
      const offer = option && !same(list.dataset.chosen);
      byId("pick").hidden = !offer;
      if (!offer) return;
      byId("pick-words").textContent =
        `Stage ${detail.stage}, ${option.textContent}. Turn-back times, landings, drift and the stages after it are those of the plan's own launch.`;
      byId("pick-button").onclick = () => {
        byId("pick").hidden = true;
        list.value = option.value;
        this.send();
      };
    }

    async lookedAt() {
      if (document.visibilityState !== "visible") return;
      try {
        const state = await ask(`${this.trip}/state`);
        // Changed in another tab: its fields have other values as well.
        if (state.answer !== this.answer && byId("controls").dataset.busy === "no") location.reload();
      } catch (error) {
        this.complain(error.message);
      }
    }

    send() {
      return this.post("change");
    }

    async post(what) {
      const round = ++this.round;
      this.asked = performance.now();
      try {
        const state = await ask(`${this.trip}/${what}`, {
          method: "POST",
          body: new FormData(this.form),
        });
        if (state.state === undefined) this.complain(state.error);
        else await this.follow(round, state);
      } catch (error) {
        this.complain(error.message);
      }
    }

    async follow(round, known) {
      let state = known;
      const began = Date.now();
      try {
        while (state === undefined || busy(state)) {
          if (state !== undefined) this.working(state);
          await wait(Date.now() - began < 3000 ? SOON_MS : LATER_MS);
          if (round !== this.round) return; // something newer was sent
          state = await ask(`${this.trip}/state`);
        }
        if (round !== this.round) return;
        if (state.answer !== this.answer) await this.replace(state);
        this.finished(state);
      } catch (error) {
        this.complain(error.message);
      }
    }

    async replace(state) {
      const parts = await ask(`${this.trip}/parts`);
      if (window.routeplanReport) {
        if (parts.error) throw new Error(parts.error);
        byId("pick").hidden = true;
        await window.routeplanReport.update(parts);
        this.answer = state.answer;
      } else {
        location.reload();
      }
    }

    working(state) {
      byId("progress-bar").hidden = false;
      byId("cancel-button").hidden = false;
      byId("controls").dataset.busy = "yes";
      showProgress(state, byId("status"));
    }

    finished(state) {
      this.still();
      const focus = document.activeElement && document.activeElement.id;
      const box = byId("launches");
      box.innerHTML = state.launches; // rendered by our server, which escapes all text
      if (focus && box.contains(byId(focus))) byId(focus).focus();
      for (const field of document.querySelectorAll('#controls input[name="token"]')) {
        field.value = state.token;
      }
      if (state.error) {
        this.complain(state.error);
        return;
      }
      byId("error").hidden = true;
      const took = this.asked ? ` in ${((performance.now() - this.asked) / 1000).toFixed(1)} s` : "";
      byId("status").textContent = `Planned again${took}.`;
      byId("controls").dataset.answer = state.answer;
    }

    still() {
      byId("progress-bar").hidden = true;
      byId("cancel-button").hidden = true;
      byId("controls").dataset.busy = "no";
    }

    complain(words) {
      this.still();
      byId("error").textContent = words;
      byId("error").hidden = false;
      byId("status").textContent = "Not planned again: the figures are those of before.";
    }
  }

  // ---- the first page: say that a form is on its way

  function readyToSend(form) {
    form.addEventListener("submit", (event) => {
      const large = [...form.querySelectorAll("input[type=file]")].find(
        (field) => field.files.length && field.files[0].size > Number(field.dataset.most)
      );
      if (large) {
        event.preventDefault();
        const most = Number(large.dataset.most) / 1e6;
        byId("error").textContent = `${large.labels[0].textContent}: the file is too large; allowed are ${most} MB.`;
        byId("error").hidden = false;
        large.focus();
        return;
      }
      const button = form.querySelector("button");
      setTimeout(() => {
        button.disabled = true;
        button.textContent = "Sending …";
      }, 0);
    });
    window.addEventListener("pageshow", (event) => {
      if (event.persisted) location.reload(); // back again: its token may be too old
    });
  }

  function begin() {
    if (byId("working")) watchFirst(byId("working"));
    if (byId("controls")) new Controls(byId("controls"));
    document.querySelectorAll(".page-way").forEach(readyToSend);
  }

  if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", begin);
  else begin();
})();
