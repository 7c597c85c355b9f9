// Barcode readers type. Keys in a burst that ends with Enter are one scan, on every page and
// whatever has the focus: never a shortcut, a press, or more letters in a field. It becomes an
// event "scan" of the document; where no script takes that, the page says what was scanned.
//
// What is typed into a field stands at once, and is taken back when it was a scan. Elsewhere a
// letter waits until the next key of a burst would have come; then it is a shortcut. Keys may be
// handed over late, so gaps are those between the times that they bear, and the more keys there
// are, the longer the next is waited for.
//
// It is loaded before the page's middle, so that no key is lost that comes while the rest loads.
"use strict";
(function () {
  var gapMS = 60, waitMS = 100, manyKeys = 4; // readers leave 5 to 30 ms between keys (usual, no source)
  var ended = -Infinity, lastEnd = -Infinity, composing = false;
  var none = { keys: [], at: -Infinity, held: [], field: null, was: "", timer: 0 }, burst = none;

  function texty(t) { return t.tagName === "TEXTAREA" || t.tagName === "INPUT" && t.type !== "radio" && t.type !== "checkbox" && t.type !== "range"; }

  // --- what a key types by its place on an English (US) keyboard, which most readers take the
  // computer's for: the other reading, where the computer's is another or composes letters
  var signs = { Minus: "-_", Equal: "=+", BracketLeft: "[{", BracketRight: "]}", Backslash: "\\|", Semicolon: ";:", Quote: "'\"", Backquote: "`~", Comma: ",<", Period: ".>", Slash: "/?", Space: "  " };
  var pad = { Add: "+", Subtract: "-", Multiply: "*", Divide: "/", Decimal: "." };
  function placeOf(e) {
    var c = e.code || "", up = e.shiftKey;
    if (/^Key[A-Z]$/.test(c)) return up ? c[3] : c[3].toLowerCase();
    if (/^Digit\d$/.test(c)) return up ? ")!@#$%^&*("[c[5]] : c[5];
    if (/^Numpad\d$/.test(c)) return c[6];
    if (/^Numpad[A-Z]/.test(c)) return pad[c.slice(6)] || "";
    return signs[c] ? signs[c][up ? 1 : 0] : "";
  }

  // --- the burst
  function letGo() { // no scan: shortcuts, each its own
    clearTimeout(burst.timer);
    burst.timer = 0;
    var held = burst.held.splice(0);
    if (held.length >= manyKeys) say(word("late")); // a reader that ends with something else
    else held.forEach(function (h) { (h.target.isConnected ? h.target : document.body).dispatchEvent(new KeyboardEvent("keydown", h.key)); });
    document.dispatchEvent(new Event("burstover"));
  }
  function over() {
    if (burst === none) return;
    letGo();
    burst = none;
  }
  function begin(t, e) {
    var serial = document.querySelector("#unit #serial"), part = document.querySelector("[data-phase]"), field = texty(t) ? t : null;
    if (!field && serial && (document.body.dataset.pedal || "").split(" ").indexOf(e.key) < 0) { // on ready what is typed is the serial
      serial.focus();
      serial.select();
      field = serial;
    }
    burst = { keys: [], at: 0, began: e.timeStamp, after: isFinite(lastEnd) ? Math.max(e.timeStamp - lastEnd, 1) : 0, held: [], field: field, was: field ? field.value : "", timer: 0, turn: part ? part.dataset.turn : "" };
  }
  window.addEventListener("keydown", function (e) {
    if (!e.isTrusted) return; // a key that was let go
    if (e.timeStamp - burst.at > gapMS) over();
    if (["Shift", "CapsLock", "NumLock", "Control", "Alt", "AltGraph"].indexOf(e.key) >= 0) { if (burst !== none) burst.at = e.timeStamp; return; } // pressed by readers too
    var t = e.target, n = burst.keys.length, code = e.code || "";
    var enter = e.key === "Enter" || code === "Enter" || code === "NumpadEnter";
    var graph = e.getModifierState("AltGraph"), modified = !graph && (e.ctrlKey || e.altKey || e.metaKey);
    if (e.repeat && (enter || e.key === " ") && !texty(t)) { e.preventDefault(); e.stopImmediatePropagation(); return; } // a held key presses nothing again
    if (enter && !e.repeat && !modified && (n > 1 || e.timeStamp - ended < 500)) { // some readers send two
      e.preventDefault();
      e.stopImmediatePropagation();
      ended = e.timeStamp;
      if (n > 1) finish(e);
      return;
    }
    // The separator of GS1 is control and a closing bracket.
    var gs = n && e.ctrlKey && !e.altKey && !e.metaKey && (e.key === "]" || code === "BracketRight");
    var letter = gs ? "\x1d" : e.key.length === 1 ? e.key : "", place = gs ? "\x1d" : placeOf(e);
    var composed = composing || e.isComposing || e.key === "Process" || e.key === "Dead" || e.key === "Unidentified";
    if (e.repeat || modified && !gs || !letter && !(composed && place) || t.type === "password" || letter === " " && n < 2) { over(); return; }
    if (!n) begin(t, e);
    burst.keys.push({ letter: composed ? "" : letter, place: place });
    burst.at = e.timeStamp;
    clearTimeout(burst.timer);
    burst.timer = setTimeout(letGo, waitMS * burst.keys.length);
    if (burst.field && burst.field.isConnected && !gs && !(letter === " " && burst.field.id === "serial")) return; // there it starts
    e.preventDefault();
    e.stopImmediatePropagation();
    burst.held.push({ target: t, key: { key: e.key, code: code, shiftKey: e.shiftKey, bubbles: true, cancelable: true } });
  }, true);
  document.addEventListener("compositionstart", function () { composing = true; }, true);
  document.addEventListener("compositionend", function () { composing = false; }, true);

  function all(keys, what) { return keys.every(function (k) { return k[what]; }) ? keys.map(function (k) { return k[what]; }).join("") : ""; }
  function takeBack(field, was) {
    if (!field || field.value === was && !composing) return;
    if (composing) { // its letters are handed over at its end, and are no change that a person made
      var unchanged = function (e) { e.stopImmediatePropagation(); };
      field.addEventListener("compositionend", function () { setTimeout(function () { field.value = was; }); }, { once: true });
      window.addEventListener("change", unchanged, true);
      field.blur();
      window.removeEventListener("change", unchanged, true);
    }
    field.value = was;
  }
  function finish(e) {
    var b = burst;
    clearTimeout(b.timer);
    burst = none;
    lastEnd = e.timeStamp;
    takeBack(b.field, b.was);
    var d = { text: all(b.keys, "letter").slice(0, 1000), places: all(b.keys, "place").slice(0, 1000), began: b.began, after: b.after, turn: b.turn };
    if (document.dispatchEvent(new CustomEvent("scan", { detail: d, cancelable: true }))) elsewhere(d, b.field);
    document.dispatchEvent(new Event("burstover"));
  }

  // --- a badge signs somebody in, in the way of a form: the page is another person's then
  function signIn(text, places) {
    var f = document.getElementById("signin-badge") || document.createElement("form");
    if (!f.id) {
      f.method = "post";
      f.action = "/signin";
      ["token", "to", "text", "places"].forEach(function (n) { var i = document.createElement("input"); i.type = "hidden"; i.name = n; f.appendChild(i); });
      f.elements.token.value = document.body.dataset.token || "";
      f.elements.to.value = location.pathname;
      document.body.appendChild(f);
    }
    f.elements.text.value = text;
    f.elements.places.value = places;
    f.submit();
  }
  // A page ends when the person is signed out for whom it was made.
  document.addEventListener("DOMContentLoaded", function () {
    var who = word("here");
    if (who) setInterval(function () {
      fetch("/here?" + who, { credentials: "same-origin", headers: { "X-Script": "1" } }).then(function (r) { if (r.status === 403) location.reload(); }, function () { });
    }, 5000);
  });

  // --- pages that take no scans
  function elsewhere(d, field) {
    if (document.getElementById("signin-badge")) { signIn(d.text, d.places); return; }
    fetch("/scan?" + new URLSearchParams({ text: d.text, places: d.places }), { credentials: "same-origin", headers: { "X-Script": "1" } })
      .then(function (r) { return r.ok ? r.json() : {}; }, function () { return {}; })
      .then(function (v) {
        if (v.kind === "unit" && document.querySelector("form[action='/look'] input")) { location.href = v.href; return; }
        if (v.sign && document.body.dataset.token) { signIn(d.text, d.places); return; }
        if (field && v.kind && field.dataset.takes === v.kind) { field.value = v.code; return; }
        say(v.say || word("scan"), v.href, v.word);
      });
  }
  var hide = 0;
  function band() { return document.getElementById("said"); }
  function word(name) { var s = band(); return s ? s.dataset[name] : ""; }
  function say(text, href, word) {
    var said = band();
    if (!said || !text) return;
    clearTimeout(hide);
    said.textContent = text + " ";
    if (href) {
      var a = document.createElement("a");
      a.href = href;
      a.textContent = word;
      said.appendChild(a);
    }
    said.hidden = false;
    hide = setTimeout(function () { said.hidden = true; }, 8000);
  }

  window.scans = {
    signIn: signIn,
    underway: function () { return !!burst.timer; }, // a burst may go on
    recent: function () { return performance.now() - ended < 500; }, // a second Enter is the reader's
    entered: function () { ended = performance.now(); }, // Enter that a person pressed after typing a serial
  };
})();
