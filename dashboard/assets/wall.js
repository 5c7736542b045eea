/* The view on the wall: asks every half minute what is to be shown, and says how old it is. Nobody touches it. */
(function () {
  "use strict";
  var EVERY_MS = 30000, PATIENCE_MS = 15000, OLD_MS = 120000;
  var wall = document.getElementById("wall"), heard = document.getElementById("heard");
  if (!wall || !heard) { return; }
  var last = Date.now(), out = false;

  function clock(moment) {
    return moment.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
  }

  function beyond(part) {
    var foot = document.querySelector("footer");
    return part.getBoundingClientRect().bottom > foot.getBoundingClientRect().top;
  }

  /* What finds no room is left out: first the steps of the lesser findings, then these, the last first, and counted.
     A narrow window is read near by and scrolled. */
  function fit() {
    var more = document.getElementById("more"), moved = document.querySelector(".moved");
    var waits = document.querySelector(".waits"), near = window.innerWidth <= 1100;
    var rows = Array.from(document.querySelectorAll("#finds > li")), shown = rows.length;
    var hidable = rows.slice(1).map(function (row) { return row.querySelector(".next"); }).filter(Boolean);
    var who = Array.from(document.querySelectorAll(".waits .who"));
    rows.concat(hidable, who).forEach(function (part) { part.hidden = false; });
    function say() {
      var hidden = Number(more.getAttribute("data-more")) + rows.length - shown;
      more.textContent = hidden ? "and " + hidden + " more " + (hidden === 1 ? "has" : "have") + " moved" : "";
    }
    if (more) { say(); }
    while (!near && more && beyond(moved) && (hidable.length || shown > 1)) {
      if (hidable.length) { hidable.pop().hidden = true; }
      else { shown -= 1; rows[shown].hidden = true; }
      say();
    }
    while (!near && waits && beyond(waits) && who.length) { who.pop().hidden = true; }
  }

  function tell() {
    var minutes = Math.round((Date.now() - last) / 60000), old = out || Date.now() - last > OLD_MS;
    document.body.classList.toggle("old", old);
    var said = "Heard from the board at " + clock(new Date(last)) + ".";
    if (out) { said = "Signed out. What stands here is of " + clock(new Date(last)) + ". Sign in on this screen."; }
    else if (old) {
      said = "Not heard from the board for " + minutes + " minutes. What stands here is of " + clock(new Date(last)) +
        ". Look whether the board still runs.";
    }
    if (heard.textContent !== said) { heard.textContent = said; }
  }

  function ask() {
    var stop = new AbortController(), wait = window.setTimeout(function () { stop.abort(); }, PATIENCE_MS);
    window.fetch("/wall/now", { cache: "no-store", redirect: "manual", signal: stop.signal }).then(function (answer) {
      out = answer.type === "opaqueredirect" || answer.status === 401;
      if (!answer.ok) { throw new Error(String(answer.status)); }
      return answer.text();
    }).then(function (text) {
      var fresh = new DOMParser().parseFromString(text, "text/html").body;
      last = Date.now();
      if (wall.dataset.text !== text) {
        wall.dataset.text = text;
        wall.replaceChildren.apply(wall, Array.from(fresh.childNodes));
        fit();
      }
    }).catch(function () { /* told by its age */ }).then(function () {
      window.clearTimeout(wait);
      tell();
    });
  }

  fit();
  tell();
  ask();
  window.setInterval(ask, EVERY_MS);
  window.setInterval(tell, 5000);
  window.addEventListener("resize", fit);
}());
