// The page about lots: counts as they come, the decision, keys. All words come
// from the server.
"use strict";
(function () {
  var body = document.body, lot = document.querySelector("[data-lot]"), lost = document.getElementById("lost");
  function typing(t) { return t.tagName === "SELECT" || t.tagName === "TEXTAREA" || (t.tagName === "INPUT" && t.type !== "radio" && t.type !== "checkbox"); }

  // --- the list: up and down go from lot to lot, Enter opens it
  var links = [].slice.call(document.querySelectorAll(".lot-list a"));
  if (links.length) {
    document.addEventListener("keydown", function (e) {
      if (e.ctrlKey || e.altKey || e.metaKey || typing(e.target)) return;
      var step = e.key === "ArrowDown" ? 1 : e.key === "ArrowUp" ? -1 : 0;
      if (!step) return;
      var i = links.indexOf(document.activeElement);
      e.preventDefault();
      links[Math.min(links.length - 1, Math.max(0, i < 0 ? 0 : i + step))].focus();
    });
    links[0].focus({ preventScroll: true });
  }
  if (!lot) { body.dataset.lotready = "1"; return; }

  var live = document.getElementById("lot-live"), more = document.getElementById("lot-more"), path = lot.dataset.lot;
  var seq = head().dataset.seq, waiting = "", heard = Date.now(), boot = body.dataset.boot;
  function head() { return live.querySelector("[data-seq]"); }
  function dialog() { return document.getElementById("decide"); }

  // --- the decision
  function open() {
    var d = dialog();
    if (!d || d.open) return;
    d.showModal();
    var first = d.querySelector("input[type=radio]");
    if (first) first.focus();
  }
  document.addEventListener("close", function () { if (waiting) show(waiting); }, true);
  document.addEventListener("submit", function (e) {
    if (!e.target.classList.contains("lot-form")) return;
    e.preventDefault();
    var f = e.target, said = f.querySelector("[data-said]");
    said.hidden = true;
    fetch(f.action, { method: "POST", body: new URLSearchParams(new FormData(f)), credentials: "same-origin", headers: { "X-Script": "1", "X-Token": body.dataset.token } })
      .then(function (r) {
        if (r.ok) { location.reload(); return ""; }
        return r.text();
      })
      .then(function (text) { if (text) { said.textContent = text; said.hidden = false; } }, function () { offline(true); });
  });
  document.addEventListener("keydown", function (e) {
    if (e.ctrlKey || e.altKey || e.metaKey || e.repeat || document.querySelector("dialog[open]") || typing(e.target)) return;
    var k = e.key.toLowerCase();
    if (k === "d") { e.preventDefault(); open(); }
    if (k === "l") { e.preventDefault(); document.getElementById("lot-back").click(); }
  });

  // --- sentences and plots, asked for again when the lot has moved on
  var asked = 0, again = null, askedSeq = "";
  function fill() {
    var wait = asked + 10000 - Date.now();
    if (wait > 0) { if (!again) again = setTimeout(function () { again = null; fill(); }, wait); return; }
    asked = Date.now();
    askedSeq = seq;
    fetch(path + "/more", { credentials: "same-origin", headers: { "X-Script": "1" } })
      .then(function (r) { return r.ok ? r.text() : ""; })
      .then(function (html) { if (html) { more.innerHTML = html; more.dataset.ready = "1"; } }, function () { });
  }

  // --- states
  function show(html) {
    if (live.querySelector("dialog[open]")) { waiting = html; return; } // what was seen stays until the choice is made
    waiting = "";
    var focus = document.activeElement && live.contains(document.activeElement) ? document.activeElement.id : "";
    live.innerHTML = html;
    seq = head().dataset.seq;
    if (focus && document.getElementById(focus)) document.getElementById(focus).focus({ preventScroll: true });
    if (seq !== askedSeq) fill();
  }
  function offline(yes) { lost.hidden = !yes; body.classList.toggle("offline", yes); }
  var source = null;
  function connect() {
    if (source) source.close();
    source = new EventSource(path + "/events");
    source.addEventListener("hello", function (e) { heard = Date.now(); if (e.data !== boot) location.reload(); else offline(false); });
    source.addEventListener("lot", function (e) { heard = Date.now(); show(JSON.parse(e.data).html); });
    source.addEventListener("beat", function () { heard = Date.now(); });
    source.addEventListener("bye", function () { location.reload(); }); // signed out
    source.onerror = function () { offline(true); };
  }
  connect();
  setInterval(function () {
    if (Date.now() - heard > 12000) offline(true);
    if (source.readyState === 2) fetch("/lot", { credentials: "same-origin", headers: { Accept: "text/html" } }).then(function (r) { if (r.redirected) location.reload(); else connect(); }, function () { });
  }, 2000);
  fill();
  var go = document.getElementById("lot-decide");
  if (go) go.focus({ preventScroll: true });
  body.dataset.lotready = "1";
})();
