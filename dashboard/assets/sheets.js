/* Files chosen or dropped, and the forms of the board, go to plain routes; the answer is a ticket, asked after until done. */
(function () {
  "use strict";
  /* How long to wait before a ticket is asked after again: a mend is done in the blink of an eye, a year of sheets not. */
  function pause(asked) { return asked < 40 ? 25 : asked < 120 ? 80 : 250; }

  function el(id) { return document.getElementById(id); }

  function who() {
    var select = el("sheets-who");
    return select ? select.value : "";
  }

  /* What was sent, each by itself, since a row may be decided while the one before it is still in hand:
     row (the form of a held row, else null), place (where its progress stands), done (the store that is told), saying. */
  function say(task, text, share) {
    var place = task.place && task.place.isConnected ? task.place : el("sheets-progress");
    if (!place) { return; }
    place.textContent = "";
    if (!text) { return; }
    var line = document.createElement("p");
    line.textContent = text;
    place.appendChild(line);
    if (share !== undefined) {
      var bar = document.createElement("progress");
      bar.max = 1;
      if (share !== null) { bar.value = share; }
      bar.setAttribute("aria-label", task.row ? "Progress of the rows" : "Progress of the upload");
      place.appendChild(bar);
    }
  }

  function follow(ticket, task, asked) {
    window.fetch("/tickets/" + encodeURIComponent(ticket), { cache: "no-store" })
      .then(function (answer) {
        return answer.status === 404 ? { state: "failed" } : answer.json();
      })
      .then(function (found) {
        if (found.state === "done" || found.state === "failed") {
          say(task, "");
          if (task.row) { settle(ticket, task); return; }
          busy(false, task);
          window.dash_clientside.set_props(task.done, { data: ticket });
          return;
        }
        var text = found.state === "waiting" ? "Waiting for the worker to get ready …" : (found.message || task.saying);
        say(task, text, found.done && found.of ? found.done / found.of : null);
        window.setTimeout(function () { follow(ticket, task, asked + 1); }, pause(asked));
      })
      .catch(function () { window.setTimeout(function () { follow(ticket, task, asked + 1); }, 500); });
  }

  /* A held row that was decided about: its place says what became of it, nothing else of the page is touched.
     What became of it comes with the answer, or is asked for where the worker had other work first. */
  function settle(ticket, task, settled) {
    var form = task.row, rows = form.elements.rows.value, line = form.closest("li");
    if (!line) { busy(false, task); return; }
    (settled ? Promise.resolve(settled) : window.fetch("/held/after/" + encodeURIComponent(ticket) + "?rows=" + encodeURIComponent(rows), { cache: "no-store" })
      .then(function (answer) { return answer.json(); }))
      .then(function (found) {
        busy(false, task);
        line = el(line.id) || line;
        window.dash_clientside.set_props("sheets-held-count", { children: found.counted });
        announce(found.said + " " + found.counted);
        judged(found.judged);
        if (found.gone.length && found.gone.length < rows.split(",").length) {
          window.dash_clientside.set_props("sheets-held-count", { children: found.said + " " + found.counted });
          window.dash_clientside.set_props("sheets-held-from", { data: (from_now = from_now ? 0 : null) });
          return;
        }
        if (found.gone.length < rows.split(",").length) { say(task, found.said); if (nowhere(line)) { onto(line); } return; }
        if (!line.isConnected) { return; }
        var here = nowhere(line);
        window.dash_clientside.set_props(line.id, { children: found.said, className: "held-row settled small" });
        if (here && (onto(beside(line, "nextElementSibling")) || onto(beside(line, "previousElementSibling")))) { return; }
        if (!line.parentNode.querySelector("form") && !/^No /.test(found.counted)) {
          window.dash_clientside.set_props("sheets-held-from", { data: 0 });
        }
      })
      .catch(function () {
        busy(false, task);
        say(task, "The board did not answer. Load this page anew: a row that still waits there was not settled.");
      });
  }

  /* The hand goes on to the next row, unless it has gone elsewhere by itself meanwhile. */
  function nowhere(line) {
    return !document.activeElement || document.activeElement === document.body || line.contains(document.activeElement);
  }

  function beside(line, side) {
    line = line[side];
    while (line && !(line.querySelector("form:not([data-inhand])"))) { line = line[side]; }
    return line;
  }

  function onto(line) {
    var part = line && line.querySelector("form:not([data-inhand]) button, form:not([data-inhand]) summary");
    if (part) { part.focus(); }
    return part;
  }

  /* The worker judges settled rows once nobody settles more: the page says so, and when it is done. */
  var asks_judged = 0, from_now = 0;
  function judged(text) {
    window.clearTimeout(asks_judged);
    if (!el("sheets-judged")) { return; }
    window.dash_clientside.set_props("sheets-judged", { children: text });
    if (text) { asks_judged = window.setTimeout(ask_judged, 1500, 1500); }
  }

  function ask_judged(paused) {
    window.fetch("/judged", { cache: "no-store" })
      .then(function (answer) { return answer.json(); })
      .then(function (found) {
        if (!el("sheets-judged")) { return; }
        window.dash_clientside.set_props("sheets-judged", { children: found.said });
        if (found.waits) { asks_judged = window.setTimeout(ask_judged, paused, Math.min(2 * paused, 30000)); }
      })
      .catch(function () { asks_judged = window.setTimeout(ask_judged, paused, Math.min(2 * paused, 30000)); });
  }

  function announce(text) {
    var place = el("announce");
    if (place) { window.dash_clientside.set_props("announce", { children: text }); }
  }

  /* The other ways to settle a row are fetched when they are unfolded. */
  document.addEventListener("toggle", function (event) {
    var fold = event.target, place;
    if (!fold.open || !fold.dataset || !(fold.dataset.ways || fold.dataset.asks)) { return; }
    place = el(fold.dataset.into || "sheets-ways-" + fold.dataset.ways);
    if (!place || (place.childElementCount && !fold.dataset.anew)) { return; }
    window.fetch(fold.dataset.asks || "/held/" + encodeURIComponent(fold.dataset.ways) + "/ways", { cache: "no-store" })
      .then(function (answer) { return answer.json(); })
      .then(function (tree) {
        window.dash_clientside.set_props(place.id, { children: tree.problem || tree });
      });
  }, true);

  /* The buttons of a held row rest while that row is in hand; those of the other rows stay alive. */
  function busy(on, task) {
    if (task.row) {
      if (on) { task.row.dataset.inhand = "yes"; } else { delete task.row.dataset.inhand; }
      task.row.querySelectorAll("button").forEach(function (button) { button.disabled = on; });
      return;
    }
    document.querySelectorAll("#sheets-choose, form[data-desk] button").forEach(function (button) {
      if (!button.form || !button.form.elements.rows) { button.disabled = on; }
    });
  }

  /* A line that breaks may break before what was sent came in, or after it. */
  var UNKNOWN = "Whether this came in cannot be told from here: see that the board runs, load this page anew, look at the lists, and send it once more where it is missing.";

  function post(address, form, text, task) {
    var request = new XMLHttpRequest();
    busy(true, task);
    say(task, text, null);
    request.open("POST", address);
    request.responseType = "json";
    request.setRequestHeader("X-CSRFToken", (document.querySelector("meta[name=board-token]") || { content: "" }).content);
    request.upload.onprogress = function (event) {
      if (event.lengthComputable && event.total > 200000) { say(task, text, event.loaded / event.total); }
    };
    request.onload = function () {
      var answer = request.response || {};
      if (request.status === 200 && answer.settled && task.row) { say(task, ""); settle(answer.ticket, task, answer.settled); return; }
      if (request.status === 200 && answer.ticket) { follow(answer.ticket, task, 0); return; }
      busy(false, task);
      say(task, answer.problem || "The board did not take this (answer " + request.status + "). " + (request.status < 500 ? "Nothing was stored; try again." : UNKNOWN));
    };
    request.onerror = function () {
      busy(false, task);
      say(task, "The board cannot be reached. " + UNKNOWN);
    };
    request.send(form);
  }

  /* What was sent last: a question about its headings is answered by sending it once more with the answer. */
  var sent = [];

  function send(files) {
    if (!files.length) { return; }
    sent = Array.prototype.slice.call(files);
    var form = new FormData();
    form.append("who", who());
    Array.prototype.forEach.call(files, function (file) { form.append("sheets", file, file.name); });
    var task = { row: null, place: null, done: "sheets-done", saying: "Reading the sheets …" };
    post("/uploads", form, "Sending " + files.length + (files.length === 1 ? " sheet …" : " sheets …"), task);
  }

  document.addEventListener("click", function (event) {
    var button = event.target.closest ? event.target.closest("button") : null;
    if (!button) { return; }
    if (button.dataset.from) {
      window.dash_clientside.set_props(button.dataset.list, { data: Number(button.dataset.from) });
    }
    if (button.id === "sheets-choose") {
      var input = document.createElement("input");
      input.type = "file";
      input.multiple = true;
      input.accept = ".csv,.xlsx";
      input.onchange = function () { send(input.files); };
      input.click();
    }
  });

  document.addEventListener("submit", function (event) {
    var desk = event.target, pressed = event.submitter;
    if (!desk.matches || !desk.matches("form[data-desk]")) { return; }
    event.preventDefault();
    var form = new FormData(desk);
    if (pressed && pressed.name) { form.set(pressed.name, pressed.value); }
    var names = desk.dataset.files ? JSON.parse(desk.dataset.files) : null;
    if (!desk.elements.who) { form.append("who", names ? who() : (el("held-who") || { value: "" }).value); }
    var task = {
      row: desk.elements.rows ? desk : null, place: desk.querySelector(".form-said"), done: desk.dataset.done,
      saying: desk.dataset.saying || "Keeping it …"
    };
    if (desk.dataset.inhand) { return; }
    if (names) {
      var again = sent.filter(function (file) { return names.indexOf(file.name) >= 0; });
      if (again.length < names.length) { say(task, "Drop the sheets here once more, then answer: the page was opened anew since."); return; }
      again.forEach(function (file) { form.append("sheets", file, file.name); });
    }
    post(desk.dataset.desk, form, task.saying, task);
  });

  /* What is drawn anew takes the focus away: the same switch gets it back, so that the keyboard goes on from there. */
  function keepPlace(form, part) {
    var id = form.id, looks = 400, timer = setInterval(function () {
      looks -= 1;
      if (part.isConnected && looks) { return; }
      clearInterval(timer);
      if (part.isConnected || document.activeElement !== document.body) { return; }
      var same = Array.prototype.find.call(el(id) ? el(id).elements : [], function (one) {
        return one.name === part.name && (one.type === "select-one" || one.value === part.value);
      });
      if (same) { same.focus(); }
    }, 25);
  }

  /* Switches that only change what is shown: what is on goes to a store of the page, and nothing is kept. */
  document.addEventListener("change", function (event) {
    var form = event.target.closest ? event.target.closest("form[data-choices]") : null;
    if (!form) { return; }
    var data = new FormData(form), chosen = {};
    data.forEach(function (value, name) { (chosen[name] = chosen[name] || []).push(value); });
    window.dash_clientside.set_props(form.dataset.choices, { data: chosen });
    keepPlace(form, event.target);
  });

  function over(event) {
    var zone = el("sheets-drop");
    if (!zone || !event.dataTransfer || Array.prototype.indexOf.call(event.dataTransfer.types, "Files") < 0) { return null; }
    event.preventDefault();
    return zone;
  }
  document.addEventListener("dragover", function (event) {
    var zone = over(event);
    if (zone) { zone.classList.add("over"); }
  });
  document.addEventListener("dragleave", function (event) {
    var zone = el("sheets-drop");
    if (zone && !event.relatedTarget) { zone.classList.remove("over"); }
  });
  document.addEventListener("drop", function (event) {
    var zone = over(event);
    if (zone) {
      zone.classList.remove("over");
      send(event.dataTransfer.files);
    }
  });
}());
