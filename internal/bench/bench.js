// The bench's page: shows each state that the server sends, and sends keys and
// buttons back. All words come from the server.
"use strict";
(function () {
  var body = document.body, view = document.getElementById("view");
  var lost = document.getElementById("lost"), said = document.getElementById("said"), status = document.getElementById("status");
  var heard = now(), boot = body.dataset.boot, shownPhase = "", scans = window.scans;
  var pedals = (body.dataset.pedal || "").split(" ").filter(Boolean);

  function now() { return performance.now(); } // a clock that is set anew does not change it
  function part() { return view.querySelector("[data-phase]"); }
  function phase() { var p = part(); return p ? p.dataset.phase : ""; }

  // --- what a person wants: one thing after the other, each with the turn that was seen
  var queue = Promise.resolve(), pressed = { turn: "", at: 0 };
  var lastScan = null; // what came of it: the state's version and turn, and since when that is shown
  var underway = 0, newest = 0, held = null; // what is sent and not answered; the state that came of the last; a state that waits for it
  // A key that was struck before the last scan's outcome was to be seen, however late it is handed over.
  function unseen(at) { return lastScan && at < lastScan.shown ? lastScan : null; }
  function outcome() { if (lastScan && lastScan.shown === Infinity && part() && Number(part().dataset.version) >= lastScan.version) lastScan.shown = now(); }
  function send(what, fields, seen, before) {
    var p = part();
    if (!p || before && before.failed) return; // it was to start what was scanned
    var turn = seen || p.dataset.turn, form = new URLSearchParams(fields || {}), scan = null;
    if (what === "press") {
      if (pressed.turn === turn && now() - pressed.at < 1500) return; // a pedal that bounces
      pressed = { turn: turn, at: now() };
    }
    if (what === "scan") scan = lastScan = { turn: "", failed: false, version: Infinity, shown: Infinity };
    say("");
    underway++;
    queue = queue.then(function () {
      if (before && before.failed) { pressed.turn = ""; return ""; } // likewise
      form.set("turn", what === "edit" ? "-1" : before && before.turn || turn);
      return fetch("/do/" + what, { method: "POST", body: form, credentials: "same-origin", headers: { "X-Script": "1", "X-Token": body.dataset.token } })
        .then(function (r) {
          if (r.status === 403) { location.reload(); return ""; }
          newest = Math.max(newest, Number(r.headers.get("X-Version")) || 0);
          if (scan) { scan.version = newest; scan.failed = !r.ok; scan.turn = r.headers.get("X-Turn") || ""; }
          if (r.headers.get("X-Sign-In")) { scans.signIn(form.get("text"), form.get("places")); return ""; }
          if (r.headers.get("X-Ask")) return ask(decodeURIComponent(r.headers.get("X-Ask")), decodeURIComponent(r.headers.get("X-Scanned")), form);
          return r.ok ? "" : r.text();
        })
        .then(function (text) { if (text) { say(text); pressed.turn = ""; } }, function () { if (scan) scan.failed = true; offline(true); pressed.turn = ""; });
    }).then(function () {
      if (scan && scan.failed) scan.version = 0;
      outcome();
      underway--;
      again();
    });
  }
  // A unit was scanned while another is under way.
  function ask(under, scanned, form) {
    var take = document.getElementById("scanned-take");
    if (!take || take.value !== under) return "";
    document.getElementById("scanned-serial").textContent = scanned;
    take.dataset.text = form.get("text");
    take.dataset.places = form.get("places");
    open("scanned");
    return "";
  }
  // What came while it could not be shown.
  function again() { var h = held; if (h && !underway && !scans.underway()) { held = null; show(h); } }
  document.addEventListener("burstover", again);
  function say(text) { said.textContent = text; said.hidden = !text; }
  function unitForm() { var f = document.getElementById("unit"); return f ? new URLSearchParams(new FormData(f)) : null; }
  // An answer stays for a moment: whoever presses twice in haste must not miss it.
  function stand() {
    body.dataset.standing = "1";
    setTimeout(function () { delete body.dataset.standing; }, 500);
  }
  function press(at) {
    if (phase() === "answered" && body.dataset.standing) return;
    var scan = unseen(at);
    send("press", phase() === "ready" && !scan ? unitForm() : null, "", scan);
  }
  function act(b, at) {
    var d = b.closest("dialog");
    if (d) d.close();
    if (b.dataset.do === "press") press(at); else send(b.dataset.do, b.dataset.id ? { id: b.dataset.id } : null);
  }

  document.addEventListener("submit", function (e) {
    var f = e.target;
    if (f.id === "unit") { e.preventDefault(); if (!scans.recent()) press(e.timeStamp); }
    if (f.id === "overrule-form") { e.preventDefault(); var d = f.closest("dialog"); var v = new FormData(f); d.close(); send("overrule", v); }
  });
  document.addEventListener("click", function (e) {
    var b = e.target.closest("button");
    if (!b) return;
    if (b.dataset.do) act(b, e.timeStamp);
    if (b.dataset.open) open(b.dataset.open);
    if (b.dataset.close) document.getElementById(b.dataset.close).close();
    if (b.id === "scanned-take") {
      send("scan", { text: b.dataset.text, places: b.dataset.places, give_up: b.value });
      b.closest("dialog").close();
    }
  });
  document.addEventListener("close", again, true); // of a dialog
  document.addEventListener("change", function (e) {
    if (e.target.closest("#set")) e.target.form.requestSubmit();
    else if (e.target.closest("#unit")) edit(e.target);
  });
  function open(id) {
    var d = document.getElementById(id);
    if (!d || d.open) return;
    d.showModal();
    var first = d.querySelector("input, [autofocus]");
    if (first) first.focus();
  }
  function edit(field) { var one = {}; one[field.name] = field.value; send("edit", one); }

  // --- scans: see scan.js
  document.addEventListener("scan", function (e) {
    if (!part()) return;
    e.preventDefault();
    var d = e.detail, asked = document.querySelector("#scanned[open]"), go = document.getElementById("go");
    if (asked) asked.close();
    if (go) go.focus({ preventScroll: true }); // a press may follow at once; what was typed elsewhere is sent before
    // One that began before the last one's outcome was to be seen may be another reader's, keys mixed.
    send("scan", { text: d.text, places: d.places, after: unseen(d.began) ? d.after : 0 }, d.turn);
  });

  // --- keys
  document.addEventListener("keydown", function (e) {
    if (e.ctrlKey || e.altKey || e.metaKey || e.isComposing) return;
    var t = e.target, tag = t.tagName, text = tag === "TEXTAREA" || tag === "INPUT" && t.type !== "radio" && t.type !== "checkbox";
    var dialog = document.querySelector("dialog[open]");
    // A pedal that sends a letter is a letter where one types.
    if (pedals.indexOf(e.key) >= 0 && !dialog && !(text && e.key.length === 1)) { e.preventDefault(); if (!e.repeat) press(e.timeStamp); return; }
    if (e.key === "Enter" && t.id === "serial") { // the press that starts is the operator's
      e.preventDefault();
      scans.entered();
      edit(t);
      var go = document.getElementById("go");
      if (t.value.trim() && go) go.focus();
      return;
    }
    if (e.key === "Escape" && !dialog) {
      if (phase() === "shooting" || phase() === "halted") { e.preventDefault(); if (!e.repeat) send("cancel"); }
      else if (text) { t.blur(); view.focus(); }
      return;
    }
    if (dialog || !part()) return;
    if (e.key === " ") {
      if ((text && t.id !== "serial") || tag === "SELECT" || tag === "A" || tag === "SUMMARY") return;
      if (tag === "BUTTON" && t.id !== "go" && t.dataset.do !== "press") return; // the button that has the focus
      if (tag === "INPUT" && t.type === "radio" && !t.checked) return; // chooses it
      e.preventDefault();
      if (!e.repeat) press(e.timeStamp);
      return;
    }
    if (text || tag === "SELECT" || e.repeat) return;
    var k = e.key.toLowerCase();
    if (phase() !== "answered") return; // on ready letters are the serial's
    if (k === "u") { e.preventDefault(); open("undo"); }
    if (k === "o") { e.preventDefault(); open("overrule"); }
    if (k === "r") { e.preventDefault(); send("retry"); }
  });

  // --- states
  function show(s) {
    var html = s.html, ph = s.phase;
    // A state from before the last edit would take back what was typed since; one that comes while
    // a scan is typed, the field that it is typed into.
    if (ph === "ready" && shownPhase === ph && (underway || s.version < newest) || scans.underway()) { held = s; return; }
    held = null;
    var f = document.activeElement, keep = null;
    if (f && view.contains(f) && f.id && shownPhase === ph) {
      keep = { id: f.id, value: f.value, typed: f.value !== f.defaultValue, start: null, end: null };
      try { keep.start = f.selectionStart; keep.end = f.selectionEnd; } catch (x) { /* not a text field */ }
    }
    var dialog = document.querySelector("dialog[open]");
    if (dialog && shownPhase === ph) { held = s; return; } // a choice is being made
    var old = pictures();
    view.innerHTML = html;
    outcome();
    fillLive(old);
    var again = keep && document.getElementById(keep.id);
    if (again) {
      if (again.tagName === "INPUT" && again.type !== "radio" && keep.typed) again.value = keep.value;
      again.focus();
      if (keep.start !== null && keep.typed) try { again.setSelectionRange(keep.start, keep.end); } catch (x) { /* likewise */ }
    } else if (shownPhase !== ph) arrive(ph);
    shownPhase = ph;
    lives();
  }
  // The focus is where the next key belongs.
  function look() {
    var serial = document.getElementById("serial"), go = view.querySelector(".go");
    if (phase() === "ready" && serial && !serial.value) serial.focus();
    else if (go) go.focus({ preventScroll: true });
    else view.focus({ preventScroll: true });
  }
  function arrive(ph) {
    var p = part();
    look();
    window.scrollTo(0, 0);
    if (ph === "answered") { stand(); status.textContent = p.dataset.say; tone(p.dataset.verdict); }
    else { var h = view.querySelector("h1"); status.textContent = h ? h.textContent : ""; }
  }

  // --- hints at keys: where there are any
  document.addEventListener("keydown", function (e) { if (e.isTrusted) body.dataset.keys = "1"; }, true);

  // --- tones: rising for a pass, a pair for rework, low for a reject, one even note else
  var audio = null;
  var tunes = { pass: [[660, 0, .13], [990, .14, .22]], rework: [[520, 0, .16], [520, .24, .16]], reject: [[230, 0, .5]], not_measured: [[400, 0, .12], [400, .18, .12], [400, .36, .12]] };
  function wakeAudio() {
    var A = window.AudioContext || window.webkitAudioContext;
    if (!audio && A) audio = new A();
    if (audio && audio.state === "suspended") audio.resume();
  }
  document.addEventListener("keydown", wakeAudio);
  document.addEventListener("pointerdown", wakeAudio);
  function tone(verdict) {
    body.dataset.toned = verdict; // for tests
    if (body.dataset.sound === "off" || !audio) return;
    (tunes[verdict] || []).forEach(function (n) {
      var o = audio.createOscillator(), g = audio.createGain(), at = audio.currentTime + n[1];
      o.type = "triangle"; o.frequency.value = n[0];
      g.gain.setValueAtTime(0, at); g.gain.linearRampToValueAtTime(.35, at + .02); g.gain.linearRampToValueAtTime(0, at + n[2]);
      o.connect(g).connect(audio.destination); o.start(at); o.stop(at + n[2] + .02);
    });
  }

  // --- live pictures: the next is asked for once the last is there
  var round = 0, lastAids = {};
  function pictures() { return [].slice.call(view.querySelectorAll("img[data-live].here")); }
  // The pictures of before go on being shown in a new state, so that nothing
  // flickers; never that of a camera which is lost.
  function fillLive(old) {
    old.forEach(function (img) {
      var now = view.querySelector('.camera:not(.lost) img[data-live="' + CSS.escape(img.dataset.live) + '"]');
      if (!now) return;
      img.alt = now.alt; img.dataset.every = now.dataset.every;
      now.replaceWith(img);
    });
    fillAids();
  }
  function fillAids() {
    view.querySelectorAll("[data-aid]").forEach(function (d) {
      var h = lastAids[d.dataset.aid] || "";
      if (d.innerHTML !== h) d.innerHTML = h;
    });
  }
  function lives() {
    round++;
    view.querySelectorAll("img[data-live]").forEach(function (img) { pull(img, round); });
  }
  function pull(img, mine) {
    var wait = Number(img.dataset.every) || 250, next = new Image(), url = "/live/" + encodeURIComponent(img.dataset.live) + "?n=" + Date.now();
    function again(ms) { setTimeout(function () { if (mine === round && img.isConnected) pull(img, mine); }, document.hidden ? 2000 : ms); }
    next.onload = function () { img.src = next.src; img.classList.add("here"); again(wait); };
    next.onerror = function () { img.removeAttribute("src"); img.classList.remove("here"); again(1500); };
    next.src = url;
  }

  // --- the connection
  function offline(yes) {
    if (!yes && !lost.hidden) { // healed: said for a moment
      say(lost.dataset.mended);
      setTimeout(function () { if (said.textContent === lost.dataset.mended) say(""); }, 5000);
    }
    lost.hidden = !yes;
    body.classList.toggle("offline", yes);
  }
  if (body.dataset.watch && part()) {
    var source = null;
    var connect = function () {
      if (source) source.close();
      source = new EventSource("/events?seen=" + encodeURIComponent(boot + "-" + part().dataset.version));
      source.addEventListener("hello", function (e) {
        heard = now();
        if (e.data !== boot) { location.reload(); return; } // another run of the program
        offline(false);
      });
      source.addEventListener("state", function (e) { heard = now(); show(JSON.parse(e.data)); });
      source.addEventListener("aids", function (e) {
        heard = now();
        lastAids = JSON.parse(e.data);
        fillAids();
      });
      source.addEventListener("beat", function () { heard = now(); });
      source.addEventListener("bye", function () { location.reload(); }); // signed out
      source.onerror = function () { offline(true); };
    };
    connect();
    setInterval(function () {
      if (now() - heard > 12000) offline(true);
      // A browser gives up after some errors; then it is asked again, and a page
      // that may no longer be watched is loaded anew.
      if (source.readyState === 2) {
        fetch("/", { credentials: "same-origin", headers: { Accept: "text/html" } }).then(function (r) { if (r.redirected) location.reload(); else connect(); }, function () { });
      }
    }, 2000);
    shownPhase = phase();
    lives();
    if (!document.activeElement || document.activeElement === body) look();
  }
  body.dataset.ready = "1"; // keys are listened to
})();
