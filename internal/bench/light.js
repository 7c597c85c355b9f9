// The light page: shows the pattern that the bench asks for, at the screen's own
// pixels, and tells when it is painted. All words come from the server.
"use strict";
(function () {
  var body = document.body, canvas = el("light"), words = el("words"), lost = el("lost"), size = el("size"), outline = el("outline");
  var ctx = canvas.getContext("2d", { alpha: false, willReadFrequently: true });
  // A card of ISO/IEC 7810, ID-1; the radius of its corners from memory.
  var longMM = 85.60, shortMM = 53.98, cornerMM = 3.18;
  var asked = null, lit = false; // what the bench asks for; whether it is shown, or words
  var round = 0, painted = 0, drawnAt = -Infinity, waiting = 0;
  function el(id) { return document.getElementById(id); }

  // --- the pattern: linear light to the screen's values, by its own curve where that was
  // measured, else by the plain curve of IEC 61966-2-1
  function encode(light) {
    if (asked.gamma) return Math.round(255 * Math.pow(light, 1 / asked.gamma));
    return Math.round(255 * (light <= 0.0031308 ? 12.92 * light : 1.055 * Math.pow(light, 1 / 2.4) - 0.055));
  }
  var image = null, dots = null;
  function draw(p) {
    var w = canvas.width, h = canvas.height, mm = pxPerMM(), c = p.colour, grey = c[0] === c[1] && c[1] === c[2];
    var turn = p.period_mm ? 2 * Math.PI / p.period_mm / mm : 0, phase = p.phase_deg * Math.PI / 180;
    if (!image || image.width !== w || image.height !== h) { image = ctx.createImageData(w, h); dots = new Uint32Array(image.data.buffer); }
    function dot(s) { // s: pixels from the middle
      var light = 1;
      if (p.kind === "half") light = (s >= 0) === (p.phase_deg === 0) ? 1 : 0;
      else if (p.kind !== "plain") light = 0.5 + 0.5 * p.contrast * Math.cos(turn * s + phase);
      var r = encode(c[0] * light), g = grey ? r : encode(c[1] * light), b = grey ? r : encode(c[2] * light);
      return (0xff000000 | b << 16 | g << 8 | r) >>> 0;
    }
    var x, y, midX = (w - 1) / 2, midY = (h - 1) / 2;
    if (p.kind === "rings") { // one quarter, mirrored
      for (y = 0; y <= midY; y++) {
        for (x = 0; x <= midX; x++) dots[y * w + x] = dots[y * w + w - 1 - x] = dot(Math.hypot(x - midX, y - midY));
        dots.copyWithin((h - 1 - y) * w, y * w, y * w + w);
      }
    } else if (p.axis === "y") {
      for (y = 0; y < h; y++) dots.fill(dot(y - midY), y * w, y * w + w);
    } else {
      for (x = 0; x < w; x++) dots[x] = dot(x - midX);
      for (y = 1; y < h; y++) dots.copyWithin(y * w, 0, w);
    }
    ctx.putImageData(image, 0, 0);
  }
  // Never faster after each other than the bench allows, also where several come at once
  // after the network stood still. Told once two frames are over, and the panel has settled.
  function paint() {
    clearTimeout(waiting);
    var mine = ++round;
    painted = 0;
    if (!lit || !asked || document.hidden || !canvas.width || !canvas.height) return;
    var rest = drawnAt + asked.pace_ms - performance.now(), number = asked.number, settle = asked.settle_ms;
    if (rest > 0) { waiting = setTimeout(paint, rest); return; }
    draw(asked.pattern);
    drawnAt = performance.now();
    requestAnimationFrame(function () {
      requestAnimationFrame(function () {
        setTimeout(function () {
          if (mine !== round) return;
          painted = number;
          tell();
        }, settle);
      });
    });
  }

  // --- the canvas has as many pixels as the screen has there
  function fit(w, h) {
    if (canvas.width === w && canvas.height === h) return;
    canvas.width = w;
    canvas.height = h;
    paint();
    roomForCard();
  }
  var watch = new ResizeObserver(function (all) {
    var e = all[all.length - 1], b = e.devicePixelContentBoxSize && e.devicePixelContentBoxSize[0];
    var w = Math.round(canvas.clientWidth * devicePixelRatio), h = Math.round(canvas.clientHeight * devicePixelRatio);
    // Snapped to whole pixels, a side is one more or less; not so where a browser plays another's screen.
    var exact = b && Math.abs(b.inlineSize - w) <= 1 && Math.abs(b.blockSize - h) <= 1;
    fit(exact ? b.inlineSize : w, exact ? b.blockSize : h);
  });
  try { watch.observe(canvas, { box: "device-pixel-content-box" }); } catch (x) { watch.observe(canvas); }

  // --- how large a pixel is
  var key = "finishbench-light", saved = null;
  try { saved = JSON.parse(localStorage.getItem(key)); } catch (x) { /* nothing is kept here */ }
  if (saved && !(saved.px_per_mm > 0)) saved = null;
  // Until somebody tells, as CSS has it: 96 to 25.4 mm.
  function pxPerMM() { return saved ? saved.px_per_mm : devicePixelRatio * 96 / 25.4; }
  function sides() { return [screen.width, screen.height].sort().join(" "); }
  function full() { return !!document.fullscreenElement || matchMedia("(display-mode: fullscreen)").matches || innerWidth >= screen.width && innerHeight >= screen.height; }
  function pinched() { return !!window.visualViewport && Math.abs(visualViewport.scale - 1) > 0.01; }
  function doubt() { return !!saved && (saved.ratio !== devicePixelRatio || saved.sides !== sides() || pinched()); }
  function look() {
    el("untold").hidden = !!saved;
    el("doubt").hidden = !doubt();
    el("told").hidden = !saved || doubt();
    el("scale").textContent = (canvas.width / pxPerMM()).toFixed(0) + " × " + (canvas.height / pxPerMM()).toFixed(0) + " mm";
    el("sleeps").hidden = !awakeless;
  }
  function upright() { return innerHeight > innerWidth; }
  function showCard() {
    var long = size.value / devicePixelRatio + "px", short = size.value * shortMM / longMM / devicePixelRatio + "px";
    outline.style.width = upright() ? short : long;
    outline.style.height = upright() ? long : short;
    outline.style.borderRadius = size.value * cornerMM / longMM / devicePixelRatio + "px";
  }
  function roomForCard() {
    if (el("card").hidden) return;
    var room = outline.parentNode, w = room.clientWidth, h = room.clientHeight, long = upright() ? Math.min(h, w * longMM / shortMM) : Math.min(w, h * longMM / shortMM);
    size.min = Math.round(longMM * 1.5 * devicePixelRatio);
    size.max = Math.floor(long * devicePixelRatio);
    showCard();
  }
  function nudge(by) { size.value = Number(size.value) + by; showCard(); }
  function panel(card) {
    el("card").hidden = !card;
    el("begin").hidden = card;
    if (card) { roomForCard(); size.value = Math.round(longMM * pxPerMM()); showCard(); }
    look();
  }

  // --- shining: full screen, awake, no words
  var awakeless = !navigator.wakeLock;
  function stayAwake() {
    if (!navigator.wakeLock || !lit || document.hidden) return;
    navigator.wakeLock.request("screen").then(function () { awakeless = false; }, function () { awakeless = true; });
  }
  // Words would lie on the light, so a scan goes to the bench, whose page says what came of it.
  document.addEventListener("scan", function (e) {
    if (!lit) return;
    e.preventDefault();
    fetch("/light/scan", { method: "POST", body: new URLSearchParams({ text: e.detail.text, places: e.detail.places }), credentials: "same-origin", headers: { "X-Script": "1", "X-Token": body.dataset.token } });
  });
  function shine(yes) {
    lit = yes;
    body.classList.toggle("lit", yes);
    words.hidden = yes;
    if (yes) stayAwake();
    else { panel(false); el("start").focus(); }
    paint();
    tell();
  }
  el("start").addEventListener("click", function () {
    if (!full() && document.documentElement.requestFullscreen) document.documentElement.requestFullscreen({ navigationUI: "hide" }).then(null, function () { /* told as not full */ });
    shine(true);
  });
  el("measure").addEventListener("click", function () { panel(true); });
  el("leave").addEventListener("click", function () { panel(false); });
  el("less").addEventListener("click", function () { nudge(-1); });
  el("more").addEventListener("click", function () { nudge(1); });
  size.addEventListener("input", showCard);
  el("fits").addEventListener("click", function () {
    saved = { px_per_mm: size.value / longMM, ratio: devicePixelRatio, sides: sides() };
    try { localStorage.setItem(key, JSON.stringify(saved)); } catch (x) { /* it holds until the page is closed */ }
    panel(false);
    tell();
  });
  // A finger held for a second brings the words back; one that brushes by does not.
  var held = 0, filled = false;
  canvas.addEventListener("pointerdown", function () { clearTimeout(held); held = setTimeout(function () { if (lit) shine(false); }, 1000); });
  ["pointerup", "pointercancel", "pointerleave"].forEach(function (e) { canvas.addEventListener(e, function () { clearTimeout(held); }); });
  canvas.addEventListener("contextmenu", function (e) { e.preventDefault(); });
  document.addEventListener("keydown", function (e) { if (e.key === "Escape" && lit) shine(false); });
  document.addEventListener("fullscreenchange", function () {
    var left = filled && !document.fullscreenElement;
    filled = !!document.fullscreenElement;
    if (left && lit) shine(false);
    else tell();
  });
  document.addEventListener("visibilitychange", function () { stayAwake(); paint(); tell(); });
  function reshaped() { look(); tell(); }
  window.addEventListener("resize", reshaped);
  if (window.visualViewport) visualViewport.addEventListener("resize", reshaped);

  // --- what the bench is told: how the page stands now, one word after the other
  var telling = false, more = false;
  function tell() {
    if (telling) { more = true; return; }
    telling = true;
    more = false;
    var stop = new AbortController(), late = setTimeout(function () { stop.abort(); }, 4000);
    var said = { screen: body.dataset.screen, painted: painted, lit: lit ? 1 : 0, hidden: document.hidden ? 1 : 0, px_per_mm: saved ? saved.px_per_mm : 0, doubt: doubt() || lit && !full() ? 1 : 0 };
    fetch("/light/state", { method: "POST", body: new URLSearchParams(said), credentials: "same-origin", keepalive: true, signal: stop.signal, headers: { "X-Script": "1", "X-Token": body.dataset.token } })
      .then(function (r) { if (r.status === 403) location.reload(); }, function () { setTimeout(tell, 500); })
      .then(function () { clearTimeout(late); telling = false; if (more) tell(); });
  }
  setInterval(tell, 5000);

  // --- what the bench asks for
  var source = null, heard = Date.now();
  function hear() {
    heard = Date.now();
    if (!lost.hidden) { lost.hidden = true; paint(); }
  }
  function lose() { lost.hidden = false; clearTimeout(waiting); round++; painted = 0; } // its words lie on the light
  function connect() {
    if (source) source.close();
    source = new EventSource("/light/events?screen=" + encodeURIComponent(body.dataset.screen));
    source.addEventListener("hello", function (e) {
      if (e.data !== body.dataset.boot) { location.reload(); return; } // another run of the program
      hear();
      tell();
    });
    source.addEventListener("show", function (e) { asked = JSON.parse(e.data); hear(); paint(); });
    source.addEventListener("beat", hear);
    source.onerror = lose;
  }
  connect();
  setInterval(function () {
    if (Date.now() - heard > 12000) lose();
    if (source.readyState === 2) fetch("/light", { credentials: "same-origin", headers: { Accept: "text/html" } }).then(function (r) { if (r.redirected) location.reload(); else connect(); }, function () { });
  }, 2000);
  look();
  body.dataset.ready = "1";
})();
