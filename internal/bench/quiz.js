// A unit of a blind test: the pictures, zoomed and moved by wheel, drag, pinch
// and keys; marks set by click, tap and keys; the answer sent. All words come from
// the server.
"use strict";
(function () {
  var quiz = document.getElementById("quiz");
  if (!quiz) return;
  var desk = document.getElementById("desk"), sheet = document.getElementById("sheet"), marksBox = document.getElementById("marks"), list = document.getElementById("list");
  var clean = document.getElementById("clean"), answer = document.getElementById("answer"), cross = document.getElementById("cross"), scale = document.getElementById("scale");
  var said = document.getElementById("said"), status = document.getElementById("status"), clock = document.getElementById("clock");
  var W = +quiz.dataset.w, H = +quiz.dataset.h, mm = +quiz.dataset.mm, begun = Date.now();
  var draftKey = "quiz " + quiz.dataset.taking + " " + quiz.dataset.showing;
  var marks = [], chosen = -1, isClean = false, at = { x: (W - 1) / 2, y: (H - 1) / 2 }, view = { s: 1, x: 0, y: 0 }, sent = false;

  function say(text) { said.textContent = text || ""; said.hidden = !text; }
  function radios(name) { return [].slice.call(quiz.querySelectorAll("input[name=" + name + "]")); }
  function checked(name) { return radios(name).filter(function (r) { return r.checked; })[0]; }
  function kindName(kind) {
    var r = radios("kind").filter(function (x) { return x.value === kind; })[0];
    return r ? r.nextElementSibling.firstChild.textContent.trim() : kind;
  }

  // --- what was marked so far is kept, should the page be lost half-way
  function keep() {
    var v = checked("verdict");
    try { localStorage.setItem(draftKey, JSON.stringify({ marks: marks, clean: isClean, verdict: v ? v.value : "" })); } catch (e) { /* no storage: nothing is kept */ }
  }
  function forget() {
    try { localStorage.removeItem(draftKey); } catch (e) { /* likewise */ }
  }
  function restore() {
    try {
      var d = JSON.parse(localStorage.getItem(draftKey) || "null");
      if (!d) return;
      marks = d.marks || [];
      isClean = !!d.clean;
      radios("verdict").forEach(function (r) { r.checked = r.value === d.verdict; });
    } catch (e) { marks = []; }
  }

  // --- the view: picture pixel p is at s * (p + 0.5) + offset on the desk
  function least() { return Math.min(desk.clientWidth / W, desk.clientHeight / H); }
  function place() {
    var w = desk.clientWidth, h = desk.clientHeight, sw = view.s * W, sh = view.s * H;
    view.x = sw <= w ? (w - sw) / 2 : Math.min(0, Math.max(w - sw, view.x));
    view.y = sh <= h ? (h - sh) / 2 : Math.min(0, Math.max(h - sh, view.y));
    sheet.style.transform = "translate(" + view.x + "px," + view.y + "px) scale(" + view.s + ")";
    marksBox.style.transform = "scale(1)";
    [].forEach.call(marksBox.children, function (b) { b.style.transform = "scale(" + 1 / view.s + ")"; });
    cross.style.left = view.x + view.s * (at.x + 0.5) + "px";
    cross.style.top = view.y + view.s * (at.y + 0.5) + "px";
    scale.firstElementChild.style.width = Math.max(4, view.s / mm) + "px";
    quiz.dataset.zoom = (view.s / least()).toFixed(2);
  }
  function zoom(factor, cx, cy) {
    var s = Math.min(8, Math.max(least(), view.s * factor));
    view.x = cx - (cx - view.x) * s / view.s;
    view.y = cy - (cy - view.y) * s / view.s;
    view.s = s;
    place();
  }
  function whole() { view.s = least(); view.x = view.y = 0; place(); }
  function toPicture(cx, cy) { return { x: (cx - view.x) / view.s - 0.5, y: (cy - view.y) / view.s - 0.5 }; }
  function crossOnDesk() { return { x: view.x + view.s * (at.x + 0.5), y: view.y + view.s * (at.y + 0.5) }; }
  function follow() { // keeps the cross inside the desk
    var c = crossOnDesk(), w = desk.clientWidth, h = desk.clientHeight, m = Math.min(60, w / 4, h / 4);
    if (c.x < m) view.x += m - c.x;
    if (c.x > w - m) view.x -= c.x - w + m;
    if (c.y < m) view.y += m - c.y;
    if (c.y > h - m) view.y -= c.y - h + m;
    place();
  }

  // --- marks
  function show() {
    marksBox.textContent = "";
    list.textContent = "";
    marks.forEach(function (m, i) {
      var b = document.createElement("button"), name = kindName(m.kind);
      b.type = "button";
      b.className = "mark" + (i === chosen ? " on" : "");
      b.style.left = m.x + 0.5 + "px";
      b.style.top = m.y + 0.5 + "px";
      b.tabIndex = -1;
      b.setAttribute("aria-label", i + 1 + " " + name);
      var t = document.createElement("b");
      t.textContent = i + 1 + " " + name;
      b.appendChild(t);
      marksBox.appendChild(b);
      var li = document.createElement("li"), off = document.createElement("button");
      li.className = i === chosen ? "on" : "";
      li.textContent = name;
      off.type = "button";
      off.textContent = "✕";
      off.dataset.off = i;
      off.setAttribute("aria-label", list.dataset.off + " " + (i + 1) + " " + name);
      li.appendChild(off);
      list.appendChild(li);
    });
    clean.setAttribute("aria-pressed", String(isClean));
    quiz.dataset.marks = marks.length;
    place();
  }
  function add(p) {
    if (sent) return;
    p.x = Math.min(W - 1, Math.max(0, p.x));
    p.y = Math.min(H - 1, Math.max(0, p.y));
    isClean = false;
    marks.push({ x: p.x, y: p.y, kind: checked("kind").value });
    chosen = marks.length - 1;
    status.textContent = marks.length + " " + kindName(marks[chosen].kind);
    changed();
  }
  function takeOff(i) {
    if (sent || i < 0 || i >= marks.length) return;
    marks.splice(i, 1);
    chosen = Math.min(chosen, marks.length - 1);
    changed();
  }
  function near(p, within) { // the mark nearest to a place on the picture, if so near
    var best = -1, least = within;
    marks.forEach(function (m, i) {
      var d = Math.hypot(m.x - p.x, m.y - p.y);
      if (d <= least) { best = i; least = d; }
    });
    return best;
  }
  function sayClean() {
    if (sent) return;
    isClean = !isClean;
    if (isClean) {
      marks = [];
      chosen = -1;
      if (!checked("verdict")) radios("verdict")[0].checked = true;
      status.textContent = quiz.dataset.clean;
    }
    changed();
  }
  function changed() { say(""); keep(); show(); }

  // --- pointers: one moves or, where it does not move, marks; two pinch
  var down = {}, moved = false, pinch = null;
  function local(e) { var r = desk.getBoundingClientRect(); return { x: e.clientX - r.left, y: e.clientY - r.top }; }
  function pair() {
    var k = Object.keys(down), a = down[k[0]], b = down[k[1]];
    return { d: Math.hypot(a.x - b.x, a.y - b.y) || 1, x: (a.x + b.x) / 2, y: (a.y + b.y) / 2 };
  }
  desk.addEventListener("pointerdown", function (e) {
    if (e.pointerType === "mouse" && e.button !== 0) return;
    desk.focus({ preventScroll: true });
    e.preventDefault();
    desk.setPointerCapture(e.pointerId);
    down[e.pointerId] = local(e);
    down[e.pointerId].x0 = down[e.pointerId].x;
    down[e.pointerId].y0 = down[e.pointerId].y;
    var n = Object.keys(down).length;
    if (n === 1) { moved = false; pinch = null; }
    if (n === 2) { pinch = pair(); moved = true; }
  });
  desk.addEventListener("pointermove", function (e) {
    var d = down[e.pointerId];
    if (!d) return;
    var p = local(e), dx = p.x - d.x, dy = p.y - d.y, slack = e.pointerType === "mouse" ? 4 : 10;
    if (!moved && Math.hypot(p.x - d.x0, p.y - d.y0) < slack) return;
    d.x = p.x;
    d.y = p.y;
    moved = true;
    desk.classList.add("drag");
    if (Object.keys(down).length === 2 && pinch) {
      var q = pair();
      view.x += q.x - pinch.x;
      view.y += q.y - pinch.y;
      zoom(q.d / pinch.d, q.x, q.y);
      pinch = q;
    } else {
      view.x += dx;
      view.y += dy;
      place();
    }
  });
  function up(e) {
    var d = down[e.pointerId];
    if (!d) return;
    delete down[e.pointerId];
    if (Object.keys(down).length < 2) pinch = null;
    if (Object.keys(down).length > 0) return;
    desk.classList.remove("drag");
    if (moved || e.type === "pointercancel") return;
    var p = toPicture(d.x0, d.y0), i = near(p, 18 / view.s);
    cross.hidden = true;
    if (i >= 0) { chosen = i; show(); return; }
    if (p.x < -0.5 || p.y < -0.5 || p.x > W - 0.5 || p.y > H - 0.5) return;
    at = { x: p.x, y: p.y };
    add(p);
  }
  desk.addEventListener("pointerup", up);
  desk.addEventListener("pointercancel", up);
  desk.addEventListener("wheel", function (e) {
    e.preventDefault();
    var p = local(e);
    zoom(Math.exp(-e.deltaY / 400), p.x, p.y);
  }, { passive: false });

  // --- buttons
  quiz.addEventListener("click", function (e) {
    var b = e.target.closest("button");
    if (!b) return;
    if (b.dataset.off !== undefined) takeOff(+b.dataset.off);
    if (b.dataset.zoom === "all") whole();
    else if (b.dataset.zoom) zoom(b.dataset.zoom === "in" ? 1.5 : 1 / 1.5, desk.clientWidth / 2, desk.clientHeight / 2);
    if (b === clean) sayClean();
    if (b === answer) send(false);
  });
  quiz.addEventListener("change", function (e) {
    if (e.target.name === "light") light(e.target.value);
    if (e.target.name === "kind" && chosen >= 0) status.textContent = kindName(e.target.value);
    if (e.target.name === "verdict") changed();
  });
  function light(v) {
    [].forEach.call(sheet.querySelectorAll("img"), function (i) { i.hidden = i.dataset.light !== v; });
    radios("light").forEach(function (r) { r.checked = r.value === v; });
    quiz.dataset.light = v;
  }
  function nextLight() {
    var all = radios("light"), i = all.findIndex(function (r) { return r.checked; });
    if (all.length) light(all[(i + 1) % all.length].value);
  }

  // --- keys
  document.addEventListener("keydown", function (e) {
    if (e.ctrlKey || e.altKey || e.metaKey || e.isComposing || sent) return;
    var t = e.target, k = e.key, low = k.toLowerCase();
    if (t.tagName === "SELECT" || t.closest("header.top")) return;
    if (k.indexOf("Arrow") === 0) {
      if (t.type === "radio") return; // moves within its list
      e.preventDefault();
      var step = (e.shiftKey ? 40 : 8) / view.s, dx = k === "ArrowLeft" ? -step : k === "ArrowRight" ? step : 0, dy = k === "ArrowUp" ? -step : k === "ArrowDown" ? step : 0;
      cross.hidden = false;
      at = { x: Math.min(W - 1, Math.max(0, at.x + dx)), y: Math.min(H - 1, Math.max(0, at.y + dy)) };
      follow();
      return;
    }
    if (k === "Enter") {
      if (t.tagName === "BUTTON" && t !== answer || t.tagName === "A" || t.tagName === "SUMMARY") return;
      e.preventDefault();
      if (!e.repeat) send(false);
      return;
    }
    if (k === " ") {
      if (t.tagName === "BUTTON" || t.tagName === "A" || t.type === "radio" && !t.checked) return;
      e.preventDefault();
      if (e.repeat) return;
      cross.hidden = false;
      add({ x: at.x, y: at.y });
      return;
    }
    if (k === "Backspace" || k === "Delete") {
      e.preventDefault();
      var i = cross.hidden ? chosen : near(at, 18 / view.s);
      takeOff(i >= 0 ? i : chosen);
      return;
    }
    if (k === "+" || k === "=" || k === "-") {
      e.preventDefault();
      var c = crossOnDesk();
      if (cross.hidden) c = { x: desk.clientWidth / 2, y: desk.clientHeight / 2 };
      zoom(k === "-" ? 1 / 1.5 : 1.5, c.x, c.y);
      if (!cross.hidden) follow();
      return;
    }
    if (e.repeat) return;
    if (k === "0") { e.preventDefault(); whole(); }
    else if (low === "l") { e.preventDefault(); nextLight(); }
    else if (low === "c") { e.preventDefault(); sayClean(); }
    else {
      radios("kind").concat(radios("verdict")).forEach(function (r) {
        if (r.dataset.key !== low) return;
        e.preventDefault();
        r.checked = true;
        if (r.name === "verdict") changed();
        status.textContent = r.nextElementSibling.textContent.trim();
      });
    }
  });

  // --- the answer
  function send(late) {
    if (sent) return;
    var v = checked("verdict");
    if (!late && (!v || !isClean && !marks.length)) { say(answer.dataset.missing); return; }
    sent = true;
    answer.disabled = true;
    var f = new URLSearchParams({ showing: quiz.dataset.showing, verdict: v ? v.value : "", took: String((Date.now() - begun) / 1000), late: late ? "1" : "",
      marks: JSON.stringify(marks.map(function (m) { return { x_px: m.x, y_px: m.y, kind: m.kind }; })) });
    fetch("/quiz/take/" + quiz.dataset.taking, { method: "POST", body: f, credentials: "same-origin", headers: { "X-Script": "1", "X-Token": document.body.dataset.token } })
      .then(function (r) {
        if (r.ok || r.status === 409) { forget(); location.reload(); return; }
        if (r.status === 403) { location.reload(); return; }
        return r.text().then(function (t) { say(t); sent = false; answer.disabled = false; });
      }, function () { say(quiz.dataset.lost); sent = false; answer.disabled = false; });
  }

  // --- time
  if (clock) {
    var left = +quiz.dataset.left;
    var tick = function () {
      var s = Math.max(0, left - (Date.now() - begun) / 1000);
      clock.textContent = Math.floor(s / 60) + ":" + ("0" + Math.floor(s % 60)).slice(-2);
      clock.parentNode.classList.toggle("short", s < 10);
      if (s <= 0) send(true);
    };
    setInterval(tick, 250);
    tick();
  }

  sheet.style.width = W + "px";
  sheet.style.height = H + "px";
  window.addEventListener("resize", function () { zoom(1, 0, 0); });
  var start = checked("light");
  quiz.dataset.light = start ? start.value : "";
  restore();
  whole();
  show();
  desk.focus({ preventScroll: true });
  document.body.dataset.quizReady = "1";
})();
