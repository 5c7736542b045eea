/* The bench: one large field after the other, kept on this tablet until the board has it. */
(function () {
  "use strict";
  function el(id) { return document.getElementById(id); }
  function own(key) { try { return JSON.parse(window.localStorage.getItem(key)); } catch (_) { return null; } }
  function keep(key, value) { try { window.localStorage.setItem(key, JSON.stringify(value)); } catch (_) { /* private window: typed on, not kept */ } }
  function forget(key) { try { window.localStorage.removeItem(key); } catch (_) { /* as above */ } }
  function make(tag, words, className) {
    var part = document.createElement(tag);
    if (words) { part.textContent = words; }
    if (className) { part.className = className; }
    return part;
  }
  function button(words, press, className) {
    var part = make("button", words, className);
    part.type = "button";
    part.addEventListener("click", press);
    return part;
  }
  var DRAFT = "bench-draft:";

  /* ---- the page of cards: what is kept on this tablet and not yet handed in ---- */
  function showDrafts(place) {
    for (var i = 0; i < window.localStorage.length; i += 1) {
      var key = window.localStorage.key(i), kept = key.indexOf(DRAFT) === 0 ? own(key) : null;
      if (!kept) { continue; }
      var link = make("a", kept.title + (kept.boxes.Serial ? " of " + kept.boxes.Serial : "") + ": " +
        Object.keys(kept.figures).length + " figures are kept on this tablet and not handed in. Go on.", "card bench-draft");
      link.href = "/bench/" + encodeURIComponent(key.slice(DRAFT.length));
      place.appendChild(link);
    }
  }
  if (el("bench-drafts")) { try { showDrafts(el("bench-drafts")); } catch (_) { /* no storage, no drafts */ } }
  if (!el("bench-data")) { return; }

  var card = JSON.parse(el("bench-data").textContent), boxes = el("bench-boxes"), figure = el("bench-figure");
  var key = DRAFT + card.card, fields = card.fields;
  var state = fresh(), now = -1, undo = [], usual = null, notes = [], doubts = [], busy = false, again = false, sent = false;

  var tablet = own("bench-tablet") || drawn();
  keep("bench-tablet", tablet);
  function drawn() {
    var bytes = new Uint8Array(16), id = "";
    window.crypto.getRandomValues(bytes);
    bytes.forEach(function (one) { id += (one + 256).toString(16).slice(1); });
    return id;
  }
  function fresh() {
    return { entry: drawn(), title: card.title, boxes: {}, figures: {}, left: [], sure: [], all: false, begun: false };
  }
  function box(name) { return boxes.elements.namedItem(name); }
  function each(work) { Array.prototype.forEach.call(boxes.elements, function (one) { if (one.name) { work(one); } }); }
  function save() {
    each(function (one) { state.boxes[one.name] = one.value; });
    if (state.begun && !sent) { keep(key, state); }
  }
  function say(words, className) {
    var place = el("bench-news");
    if (place.textContent === words) { return; }
    place.textContent = words;
    place.className = words ? "card " + (className || "") : "";
  }

  /* ---- which figures are asked ---- */
  function asked() {
    var model = box("Model") ? box("Model").value : "";
    return fields.filter(function (one) {
      if (model && one.models.length && one.models.indexOf(model) < 0) { return false; }
      return state.all || !usual || usual.indexOf(one.n) >= 0 || one.n in state.figures || state.left.indexOf(one.n) >= 0;
    });
  }
  function filled(n) { return n in state.figures || state.left.indexOf(n) >= 0; }
  function named(one) { return one.figure + (one.place ? ", " + one.place : ""); }

  /* ---- showing one field ---- */
  function go(n) {
    var list = asked(), at = list.findIndex(function (one) { return one.n === n; }), one = list[at];
    if (!one) { finish(); return; }
    now = n;
    el("bench-last").hidden = true;
    el("bench-type").hidden = false;
    document.body.classList.add("typing");
    var before = list[at - 1] && state.figures[list[at - 1].n];
    el("bench-count").textContent = (at + 1) + " of " + list.length + (before ? ", before it " + before : "");
    el("bench-name").textContent = one.figure;
    el("bench-place").textContent = one.place;
    el("bench-unit").textContent = one.unit;
    el("bench-hint").textContent = one.kind === "pass-fail" ? "0 good, 1 faulty" : one.hint ? "Read " + one.hint : "";
    figure.value = n in state.figures ? state.figures[n] : "";
    el("bench-note").hidden = !notes[n];
    el("bench-note").textContent = notes[n] || "";
    el("bench-pad").classList.toggle("two", one.kind === "pass-fail");
    words("0", one.kind === "pass-fail" ? "0 good" : "0");
    words("1", one.kind === "pass-fail" ? "1 faulty" : "1");
    mark(one);
    listed();
    figure.focus({ preventScroll: true });
    figure.select();
  }
  function words(sign, text) { el("bench-pad").querySelector("[data-sign='" + sign + "']").textContent = text; }
  function mark(one) {
    document.querySelectorAll(".mark").forEach(function (part) {
      var pairs = part.dataset.at.split(";").map(function (pair) { return pair.split("="); });
      var fits = function (field) { return pairs.every(function (pair) { return field.at[pair[0]] === pair[1]; }); };
      var mine = asked().filter(fits);
      part.classList.toggle("here", Boolean(one) && fits(one));
      part.classList.toggle("off", !mine.length);
      part.classList.toggle("done", mine.length > 0 && mine.every(function (field) { return filled(field.n); }));
      part.classList.toggle("doubted", doubts.some(function (doubt) { return doubt.field >= 0 && fits(fields[doubt.field]); }));
    });
  }
  function listed() {
    var place = el("bench-list"), rest = fields.length - asked().length;
    place.textContent = "";
    asked().forEach(function (one) {
      var line = make("li"), told = state.left.indexOf(one.n) >= 0 ? "not measured" : state.figures[one.n] || "–";
      var doubted = doubts.some(function (doubt) { return doubt.field === one.n; });
      line.appendChild(button(named(one) + ": " + told + (doubted ? ", asked about" : ""), function () { go(one.n); },
        (one.n === now ? "here " : "") + (doubted ? "doubted" : "")));
      place.appendChild(line);
    });
    el("bench-more").hidden = !rest;
    el("bench-more").textContent = "Ask the " + rest + " other places too";
  }

  /* ---- typing ---- */
  function put(n, text, left) {
    undo.push({ n: n, text: state.figures[n], left: state.left.indexOf(n) >= 0 });
    delete state.figures[n];
    state.left = state.left.filter(function (one) { return one !== n; });
    if (left) { state.left.push(n); } else if (text) { state.figures[n] = text; }
    state.sure = state.sure.filter(function (one) { return one[0] !== n; });
    doubts = doubts.filter(function (doubt) { return doubt.field !== n; });
    save();
    look();
  }
  function after(n) {
    var list = asked(), at = list.findIndex(function (one) { return one.n === n; });
    var open = list.slice(at + 1).concat(list.slice(0, at)).find(function (one) { return !filled(one.n); });
    if (at + 1 < list.length && !filled(list[at + 1].n)) { go(list[at + 1].n); } else if (open) { go(open.n); } else { finish(); }
  }
  function next() {
    var text = figure.value.trim(), list = asked(), at = list.findIndex(function (one) { return one.n === now; });
    if (text === (state.figures[now] || "") && !text) { if (at + 1 < list.length) { go(list[at + 1].n); } else { finish(); } return; }
    if (text !== state.figures[now]) { put(now, text, false); }
    after(now);
  }
  figure.addEventListener("keydown", function (event) {
    if (event.key === "Enter") { event.preventDefault(); next(); }
    if (event.key === "ArrowUp") { event.preventDefault(); step(-1); }
    if (event.key === "ArrowDown") { event.preventDefault(); step(1); }
  });
  function step(by) {
    var list = asked(), at = list.findIndex(function (one) { return one.n === now; });
    if (figure.value.trim() !== (state.figures[now] || "")) { put(now, figure.value.trim(), false); }
    if (list[at + by]) { go(list[at + by].n); }
  }
  function back() {
    var last = undo.pop();
    if (!last) { step(-1); return; }
    delete state.figures[last.n];
    state.left = state.left.filter(function (one) { return one !== last.n; });
    if (last.left) { state.left.push(last.n); } else if (last.text) { state.figures[last.n] = last.text; }
    save();
    go(last.n);
    look();
  }
  el("bench-next").addEventListener("click", next);
  el("bench-back").addEventListener("click", back);
  el("bench-skip").addEventListener("click", function () { put(now, "", true); after(now); });
  el("bench-more").addEventListener("click", function () { state.all = true; save(); go(now); });
  el("bench-rest").addEventListener("click", function () {
    asked().forEach(function (one) { if (!filled(one.n)) { state.left.push(one.n); } });
    save();
    finish();
  });
  el("bench-again").addEventListener("click", function () { go((asked().find(function (one) { return !filled(one.n); }) || asked()[0]).n); });
  if (window.matchMedia("(pointer: coarse)").matches) { figure.inputMode = "none"; } /* our pad, no keyboard over it */
  ["7", "8", "9", "⌫", "4", "5", "6", "−", "1", "2", "3", ",", "0"].forEach(function (sign) {
    var part = button(sign, function () {
      var field = fields[now];
      if (sign === "⌫") { figure.value = figure.value.slice(0, -1); return; }
      figure.value = (figure.selectionStart !== figure.selectionEnd ? "" : figure.value) + (sign === "−" ? "-" : sign);
      if (field && field.kind === "pass-fail") { next(); }
    });
    part.tabIndex = -1;
    part.dataset.sign = sign;
    if (sign === "⌫") { part.setAttribute("aria-label", "Delete the last sign"); }
    part.addEventListener("pointerdown", function (event) { event.preventDefault(); }); /* the field keeps the focus */
    el("bench-pad").appendChild(part);
  });

  /* ---- asked at once what an upload would ask in the evening ---- */
  function body() {
    save();
    return JSON.stringify({ entry: state.entry, card: card.card, boxes: state.boxes, figures: state.figures, left_out: state.left, sure: state.sure, tablet: tablet });
  }
  function post(address, done, failed) {
    var request = new XMLHttpRequest();
    request.open("POST", address);
    request.timeout = 20000;
    request.setRequestHeader("Content-Type", "application/json");
    request.setRequestHeader("X-CSRFToken", document.querySelector("meta[name=board-token]").content);
    request.onload = function () {
      var answer = {};
      try { answer = JSON.parse(request.responseText); } catch (_) { /* told by its status */ }
      if (request.status === 401) { save(); window.location.assign("/sign-in?way=pin&next=" + encodeURIComponent(window.location.pathname)); return; }
      done(request.status, answer, Number(request.getResponseHeader("Retry-After")) || 2);
    };
    request.onerror = request.ontimeout = failed;
    request.send(body());
  }
  function look() {
    if (card.event || sent) { return; }
    if (busy) { again = true; return; }
    busy = true;
    var of = JSON.stringify(state.figures);
    post("/bench/check", function (status, answer) {
      busy = false;
      if (status === 200) {
        say(answer.other || "", "warn");
        var same = of === JSON.stringify(state.figures);
        doubts = answer.doubts.filter(function (doubt) { return same || doubt.field < 0 || (doubt.field in state.figures && JSON.parse(of)[doubt.field] === state.figures[doubt.field]); });
        show();
      }
      if (again) { again = false; look(); }
      looked(true);
    }, function () {
      busy = again = false;
      looked(false);
      say("The board is not reached. Type on: what you type is kept on this tablet, and it is asked about once the board is back.", "warn");
      window.setTimeout(look, 3000);
    });
  }
  function show() {
    ["bench-asks", "bench-open"].forEach(function (id) {
      var place = el(id), told = {}, was = place.contains(document.activeElement) ? spoken(document.activeElement) : "";
      place.textContent = "";
      if ((id === "bench-open") === el("bench-last").hidden) { return; }
      var list = doubts.slice().sort(function (a, b) { return Object.keys(b.change).length - Object.keys(a.change).length; }).filter(function (doubt) {
        if (doubt.field >= 0 && told[doubt.field]) { return false; }
        told[doubt.field] = true;
        return true;
      });
      if (id === "bench-asks" && list.length > 1) { /* one at a time while typing, that of the figure just typed first */
        var newest = undo.length ? undo[undo.length - 1].n : -1;
        list.sort(function (a, b) { return (b.field === newest) - (a.field === newest); });
        place.appendChild(ask(list[0]));
        place.appendChild(make("p", (list.length - 1) + " more to answer before the card is handed in.", "small"));
        return;
      }
      list.forEach(function (doubt) { place.appendChild(ask(doubt)); });
      /* an answer that comes late writes the questions anew: whoever stands on a button of one goes on standing there */
      Array.from(place.querySelectorAll("button")).some(function (one) {
        if (!was || spoken(one) !== was) { return false; }
        one.focus();
        return true;
      });
    });
    mark(fields[now]);
    listed();
  }
  function spoken(part) {
    var of = part.closest(".bench-ask");
    return of ? of.querySelector(".bench-told").textContent + part.textContent : "";
  }
  function ask(doubt) {
    var part = make("div", "", "bench-ask"), one = fields[doubt.field], names = Object.keys(doubt.change);
    part.appendChild(make("p", (one ? named(one) + ": " : "") + doubt.sentence, "bench-told"));
    if (names.length) {
      part.appendChild(button("Take " + names.map(function (name) { return doubt.change[name]; }).join(", "), function () { mend(doubt); }, "do"));
    } else { part.appendChild(make("p", doubt.mend, "small")); }
    if (one) { part.appendChild(button("Type it again", function () { go(one.n); })); }
    if (doubt.sure) {
      part.appendChild(button("It is really so", function () {
        state.sure.push([doubt.field, doubt.reason]);
        doubts = doubts.filter(function (other) { return other !== doubt; });
        save();
        show();
        on();
        look();
      }));
    }
    return part;
  }
  function mend(doubt) {
    Object.keys(doubt.change).forEach(function (name) {
      if (name === "value") { put(doubt.field, doubt.change[name], false); } else { box(name).value = doubt.change[name]; }
    });
    doubts = doubts.filter(function (other) { return other !== doubt; });
    save();
    if (doubt.field === now) { figure.value = state.figures[now] || ""; }
    show();
    on();
    look();
  }
  function on() { if (el("bench-type").hidden) { finish(); } else { figure.focus(); } }

  /* ---- the boxes of the card, and the piece ---- */
  function piece(then) {
    var serial = box("Serial"), model = box("Model"), place = el("bench-piece");
    if (!serial || !serial.value.trim() || !fields.length) { then(); return; }
    window.fetch("/bench/" + encodeURIComponent(card.card) + "/piece?serial=" + encodeURIComponent(serial.value.trim()) +
      "&model=" + encodeURIComponent(model ? model.value : ""), { cache: "no-store" })
      .then(function (answer) { return answer.json(); })
      .then(function (found) {
        serial.value = found.serial;
        if (model && found.model) { model.value = found.model; }
        usual = found.usual.length ? found.usual : null;
        notes = found.notes;
        place.textContent = found.model || !model ? "" : found.serial + " is not on record yet: choose its model.";
        then();
      })
      .catch(function () { then(); });
  }
  function lacking() {
    var first = null;
    each(function (one) {
      var empty = one.required && !one.value.trim();
      one.setAttribute("aria-invalid", empty ? "true" : "false");
      if (empty && !first) { first = one; }
    });
    if (first) { say(first.closest("label").querySelector("span").textContent + " is empty. Fill it in, then go on.", "warn"); first.focus(); }
    return Boolean(first);
  }
  boxes.addEventListener("keydown", function (event) {
    if (event.key !== "Enter" || event.target.tagName !== "INPUT" || !boxes.contains(event.target)) { return; }
    event.preventDefault();
    begin();
  });
  boxes.addEventListener("submit", function (event) { event.preventDefault(); begin(); });
  boxes.addEventListener("change", function (event) { if (event.target.name === "Model") { piece(function () {}); } save(); });
  function begin() {
    piece(function () {
      if (lacking()) { return; }
      say("");
      state.begun = true;
      save();
      var last = {};
      each(function (one) { if (one.tagName === "SELECT" && one.dataset.kind === "choice") { last[one.name] = one.value; } });
      keep("bench-last:" + card.card, last);
      var person = box("Person") || box("Tester");
      if (person) { keep("bench-person", person.value); }
      if (!fields.length) { hand(); return; }
      boxes.hidden = true;
      go((asked().find(function (one) { return !filled(one.n); }) || asked()[0]).n);
      look();
    });
  }
  el("bench-head").addEventListener("click", function () {
    el("bench-type").hidden = true;
    boxes.hidden = false;
    boxes.elements[0].focus();
  });

  /* ---- handing in: as often as it takes, and once ---- */
  function finish() {
    var list = asked(), open = list.filter(function (one) { return !filled(one.n); }), left = state.left.length;
    el("bench-type").hidden = true;
    el("bench-last").hidden = false;
    el("bench-sum").textContent = Object.keys(state.figures).length + " figures" + (box("Serial") ? " of " + box("Serial").value : "") +
      (left ? ", " + left + " not measured" : "") + (open.length ? ", " + open.length + " still empty" : "") + ".";
    show();
    el("bench-hand").focus();
  }
  /* What is still being asked about is waited for: a slip must not leave the bench for being typed fast. */
  var pressed = null;
  function askedOf(doubt) { return doubt.field + " " + doubt.reason; }
  el("bench-hand").addEventListener("click", function () {
    if (busy && !card.event) { pressed = doubts.map(askedOf); say("Looking it over …"); return; }
    hand();
  });
  function looked(reached) {
    if (!pressed || busy) { return; }
    var another = doubts.some(function (doubt) { return pressed.indexOf(askedOf(doubt)) < 0; });
    pressed = null;
    if (reached && another) { say("Please look at this first, or hand it in as it is.", "warn"); el("bench-hand").focus(); return; }
    hand();
  }
  function hand() {
    save();
    keep(key, state);
    el("bench-hand").disabled = true;
    say("Handing it in …");
    post("/bench/enter", function (status, answer, wait) {
      if (status === 200) { follow(answer.ticket); return; }
      if (status === 429 || status === 503 || status === 507) { say(answer.problem || "The board is busy; it is tried again.", "warn"); window.setTimeout(hand, wait * 1000); return; }
      el("bench-hand").disabled = false;
      say(answer.problem || "The board did not take this (answer " + status + "). Load the page again; what you typed is kept.", "warn");
    }, later);
  }
  function later() {
    say("The board is not reached. Leave this page open: the card is kept on this tablet and handed in as soon as the board is back.", "warn");
    window.setTimeout(hand, 2000);
  }
  function follow(ticket) {
    window.fetch("/tickets/" + encodeURIComponent(ticket), { cache: "no-store" })
      .then(function (answer) { if (answer.status === 404) { return { state: "gone" }; } return answer.json(); })
      .then(function (found) {
        if (found.state === "done") { sent = true; forget(key); window.location.assign("/bench/done/" + state.entry); return; }
        if (found.state === "gone") { hand(); return; } /* the board was started anew: the same id is one entry */
        if (found.state === "failed") { el("bench-hand").disabled = false; say(found.message, "warn"); return; }
        window.setTimeout(follow, 150, ticket);
      })
      .catch(later);
  }

  /* ---- opening the page: what was begun goes on ---- */
  function restore(kept) {
    state = kept;
    Object.keys(kept.boxes).forEach(function (name) { if (box(name)) { box(name).value = kept.boxes[name]; } });
  }
  function open() {
    var kept = own(key), serial = box("Serial"), last = own("bench-last:" + card.card) || {}, person = box("Person") || box("Tester");
    Object.keys(last).forEach(function (name) { if (box(name) && !box(name).value) { box(name).value = last[name]; } });
    if (person && !person.value) { person.value = own("bench-person") || ""; }
    if (kept && kept.figures && (Object.keys(kept.figures).length || !fields.length)) {
      var place = el("bench-kept"), asks = serial && serial.value && kept.boxes.Serial && serial.value !== kept.boxes.Serial;
      var told = "A card" + (kept.boxes.Serial ? " of " + kept.boxes.Serial : "") + " is kept on this tablet and not handed in: " + Object.keys(kept.figures).length + " figures.";
      place.className = "card warn";
      place.appendChild(make("p", told));
      place.appendChild(button("Go on with it", function () { place.textContent = ""; place.className = ""; restore(kept); begin(); }, "do"));
      place.appendChild(button("Throw it away and begin anew", function () { forget(key); place.textContent = ""; place.className = ""; (serial || boxes.elements[0]).focus(); }));
      if (!asks) { place.querySelector("button").focus(); }
      return;
    }
    function first() {
      var empty = Array.prototype.find.call(boxes.elements, function (one) { return one.required && !one.value; });
      (empty || boxes.querySelector("button.do")).focus();
    }
    if (serial && serial.value) { piece(first); } else { first(); }
  }
  window.addEventListener("pagehide", save);
  open();
}());
