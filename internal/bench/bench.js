// The bench's page: shows each state that the server sends, and sends keys and
// buttons back. All words come from the server.
"use strict";
(function () {
  var body = document.body, view = document.getElementById("view");
  var lost = document.getElementById("lost"), said = document.getElementById("said"), status = document.getElementById("status");
  var heard = Date.now(), boot = body.dataset.boot, shownPhase = "";
  var pedals = (body.dataset.pedal || "").split(" ").filter(Boolean);

  function part() { return view.querySelector("[data-phase]"); }
  function phase() { var p = part(); return p ? p.dataset.phase : ""; }

  // --- what a person wants: one thing after the other, each with the turn that was seen
  var queue = Promise.resolve(), pressed = { turn: "", at: 0 };
  var underway = 0, newest = 0, held = null; // what is sent and not answered; the state that came of the last; a state that waits for it
  function send(what, fields) {
    var p = part();
    if (!p) return;
    var turn = p.dataset.turn, form = new URLSearchParams(fields || {});
    if (what === "press") {
      if (pressed.turn === turn && Date.now() - pressed.at < 1500) return; // a pedal that bounces
      pressed = { turn: turn, at: Date.now() };
    }
    form.set("turn", what === "edit" || what === "scan" ? "-1" : turn);
    say("");
    underway++;
    queue = queue.then(function () {
      return fetch("/do/" + what, { method: "POST", body: form, credentials: "same-origin", headers: { "X-Script": "1", "X-Token": body.dataset.token } })
        .then(function (r) {
          if (r.status === 403) { location.reload(); return ""; }
          newest = Math.max(newest, Number(r.headers.get("X-Version")) || 0);
          return r.ok ? "" : r.text();
        })
        .then(function (text) { if (text) { say(text); pressed.turn = ""; } }, function () { offline(true); pressed.turn = ""; })
        .then(function () { underway--; var h = held; if (h && !underway) { held = null; show(h); } });
    });
  }
  function say(text) { said.textContent = text; said.hidden = !text; }
  function unitForm() { var f = document.getElementById("unit"); return f ? new URLSearchParams(new FormData(f)) : null; }
  // An answer stays for a moment: whoever presses twice in haste must not miss it.
  function stand() {
    body.dataset.standing = "1";
    setTimeout(function () { delete body.dataset.standing; }, 500);
  }
  function press() {
    if (phase() === "answered" && body.dataset.standing) return;
    send("press", phase() === "ready" ? unitForm() : null);
  }
  // A reader ends a serial with Enter, some with two; they never start.
  var scanned = 0;
  function scanning() { return Date.now() - scanned < 500; }
  function act(what) { if (what === "press") press(); else send(what); }

  document.addEventListener("submit", function (e) {
    var f = e.target;
    if (f.id === "unit") { e.preventDefault(); if (!scanning()) press(); }
    if (f.id === "overrule-form") { e.preventDefault(); var d = f.closest("dialog"); var v = new FormData(f); d.close(); send("overrule", v); }
  });
  document.addEventListener("click", function (e) {
    var b = e.target.closest("button");
    if (!b) return;
    if (b.dataset.do) act(b.dataset.do);
    if (b.dataset.open) open(b.dataset.open);
    if (b.dataset.close) document.getElementById(b.dataset.close).close();
    if (b.id === "scanned-take") {
      send("scan", { serial: document.getElementById("scanned-serial").textContent, give_up: b.value });
      b.closest("dialog").close();
    }
  });
  document.addEventListener("close", function () { var h = held; if (h && !underway) show(h); }, true); // what came while a choice was made
  document.addEventListener("change", function (e) {
    if (e.target.closest("#set")) e.target.form.requestSubmit();
    else if (e.target.closest("#unit")) send("edit", unitForm());
  });
  function open(id) {
    var d = document.getElementById(id);
    if (!d || d.open) return;
    d.showModal();
    var first = d.querySelector("input");
    if (first) first.focus();
  }

  // --- readers: keys in a burst that ends with Enter are one scan, whatever has the
  // focus: never a shortcut, a press, or more letters in a field. What is typed into
  // a field stands at once, and is taken back when it was a scan. Elsewhere a
  // letter waits until the next key of a burst would have come; then it is a shortcut.
  // Keys may be handed over late: the more there are, the longer the next is waited for.
  var gapMS = 60, waitMS = 100; // readers leave 5 to 30 ms between keys (usual, no source)
  var none = { text: "", at: -Infinity, held: [], field: null, was: "", timer: 0 }, burst = none;
  function texty(t) { return t.tagName === "TEXTAREA" || t.tagName === "INPUT" && t.type !== "radio" && t.type !== "checkbox"; }
  function letGo() {
    clearTimeout(burst.timer);
    burst.held.splice(0).forEach(function (h) {
      (h.target.isConnected ? h.target : body).dispatchEvent(new KeyboardEvent("keydown", h.key));
    });
  }
  window.addEventListener("keydown", function (e) {
    if (!e.isTrusted) return; // a key that was let go
    if (e.timeStamp - burst.at > gapMS) { letGo(); burst = none; }
    if (e.key === "Shift" || e.key === "CapsLock") { if (burst !== none) burst.at = e.timeStamp; return; } // pressed by readers too
    var t = e.target, n = burst.text.length;
    var alien = e.ctrlKey || e.altKey || e.metaKey || e.isComposing || e.key === "Process" || e.repeat;
    if (e.key === "Enter" && !alien && (n > 1 || scanning())) {
      e.preventDefault();
      e.stopImmediatePropagation();
      scanned = Date.now();
      clearTimeout(burst.timer);
      if (n > 1) scan(burst);
      burst = none;
      return;
    }
    // Fields of other pages, a passphrase say, are left alone.
    var others = (texty(t) || t.tagName === "SELECT") && !part() && t.name !== "serial" && !t.closest("dialog");
    if (alien || others || e.key.length !== 1 || e.key === " " && n < 2) { letGo(); burst = none; return; }
    if (!n) {
      var serial = document.getElementById("serial"), field = texty(t) ? t : null;
      if (!field && serial && pedals.indexOf(e.key) < 0) { // on ready what is typed is the serial
        serial.focus();
        serial.select();
        field = serial;
      }
      burst = { text: "", at: 0, held: [], field: field, was: field ? field.value : "", timer: 0 };
    }
    burst.text += e.key;
    burst.at = e.timeStamp;
    if (burst.field && burst.field.isConnected && !(e.key === " " && burst.field.id === "serial")) return; // there it starts
    e.preventDefault();
    e.stopImmediatePropagation();
    burst.held.push({ target: t, key: { key: e.key, code: e.code, shiftKey: e.shiftKey, bubbles: true, cancelable: true } });
    clearTimeout(burst.timer);
    burst.timer = setTimeout(letGo, waitMS * burst.text.length);
  }, true);
  function scan(b) {
    var d = document.querySelector("dialog[open]"), ph = phase(), search = document.querySelector("form[action='/look'] input");
    if (b.field) b.field.value = b.was;
    if (search) { search.value = b.text; search.form.requestSubmit(); return; }
    if (!ph) { say(said.dataset.scanned.replace("{serial}", b.text)); return; }
    if (d) d.close();
    if (ph === "ready") { // a press may come before the server's answer
      document.getElementById("serial").value = b.text;
      document.getElementById("go").focus({ preventScroll: true });
    }
    if (ph !== "shooting" && ph !== "halted") { send("scan", { serial: b.text }); return; }
    var take = document.getElementById("scanned-take");
    if (b.text === take.value || b.text === take.dataset.serial) return; // the one that is under way
    document.getElementById("scanned-serial").textContent = b.text;
    open("scanned");
  }

  // --- keys
  document.addEventListener("keydown", function (e) {
    if (e.ctrlKey || e.altKey || e.metaKey || e.isComposing) return;
    var t = e.target, tag = t.tagName, text = texty(t);
    var dialog = document.querySelector("dialog[open]");
    // A pedal that sends a letter is a letter where one types.
    if (pedals.indexOf(e.key) >= 0 && !dialog && !(text && e.key.length === 1)) { e.preventDefault(); if (!e.repeat) press(); return; }
    if (e.key === "Enter" && t.id === "serial") { // the press that starts is the operator's
      e.preventDefault();
      scanned = Date.now();
      send("edit", unitForm());
      var go = document.getElementById("go");
      if (t.value.trim() && go) go.focus();
      return;
    }
    if (e.key === "Escape" && !dialog) {
      if (phase() === "shooting" || phase() === "halted") { e.preventDefault(); if (!e.repeat) act("cancel"); }
      else if (text) { t.blur(); view.focus(); }
      return;
    }
    if (dialog || !part()) return;
    if (e.key === " ") {
      if ((text && t.id !== "serial") || tag === "SELECT" || tag === "A" || tag === "SUMMARY") return;
      if (tag === "BUTTON" && t.id !== "go" && t.dataset.do !== "press") return; // the button that has the focus
      if (tag === "INPUT" && t.type === "radio" && !t.checked) return; // chooses it
      e.preventDefault();
      if (!e.repeat) press();
      return;
    }
    if (text || tag === "SELECT" || e.repeat) return;
    var k = e.key.toLowerCase();
    if (phase() !== "answered") return; // on ready letters are the serial's
    if (k === "u") { e.preventDefault(); act("undo"); }
    if (k === "o") { e.preventDefault(); open("overrule"); }
    if (k === "r") { e.preventDefault(); act("retry"); }
  });

  // --- states
  function show(s) {
    var html = s.html, ph = s.phase;
    // A state from before the last edit would take back what was typed since.
    if (ph === "ready" && shownPhase === ph && (underway || s.version < newest)) { held = s; return; }
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
  function arrive(ph) {
    var serial = document.getElementById("serial"), go = view.querySelector(".go"), p = part();
    if (ph === "ready" && serial && !serial.value) serial.focus();
    else if (go) go.focus({ preventScroll: true });
    else view.focus({ preventScroll: true });
    window.scrollTo(0, 0);
    if (ph === "answered") { stand(); status.textContent = p.dataset.say; tone(p.dataset.verdict); }
    else { var h = view.querySelector("h1"); status.textContent = h ? h.textContent : ""; }
  }

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
        heard = Date.now();
        if (e.data !== boot) { location.reload(); return; } // another run of the program
        offline(false);
      });
      source.addEventListener("state", function (e) { heard = Date.now(); show(JSON.parse(e.data)); });
      source.addEventListener("aids", function (e) {
        heard = Date.now();
        lastAids = JSON.parse(e.data);
        fillAids();
      });
      source.addEventListener("beat", function () { heard = Date.now(); });
      source.onerror = function () { offline(true); };
    };
    connect();
    setInterval(function () {
      if (Date.now() - heard > 12000) offline(true);
      // A browser gives up after some errors; then it is asked again, and a page
      // that may no longer be watched is loaded anew.
      if (source.readyState === 2) {
        fetch("/", { credentials: "same-origin", headers: { Accept: "text/html" } }).then(function (r) { if (r.redirected) location.reload(); else connect(); }, function () { });
      }
    }, 2000);
    shownPhase = phase();
    lives();
    if (!document.activeElement || document.activeElement === body) { var g = view.querySelector(".go"); if (g) g.focus({ preventScroll: true }); }
  }
  body.dataset.ready = "1"; // keys are listened to
})();
