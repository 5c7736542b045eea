/* The board's own script: drawings, page turns, theme, the way from a point to its instrument. */
(function () {
  "use strict";

  /* ---- drawings: trees of SVG elements, never markup ---- */
  var TAGS = ["svg", "g", "path", "circle", "rect", "line", "text"];

  function property(name) {
    if (name === "class") { return "className"; }
    return name.replace(/-([a-z])/g, function (_, letter) { return letter.toUpperCase(); });
  }

  function build(tree, key) {
    if (typeof tree === "string") { return tree; }
    if (TAGS.indexOf(tree[0]) < 0) { return null; }
    var props = { key: key };
    Object.keys(tree[1]).forEach(function (name) { props[property(name)] = tree[1][name]; });
    return window.React.createElement.apply(null, [tree[0], props].concat(tree[2].map(build)));
  }

  function Drawing(props) {
    var own = { id: props.id, className: ("drawing " + (props.className || "")).trim() };
    if (props.label) { own.role = "img"; own["aria-label"] = props.label; }
    else { own["aria-hidden"] = "true"; }
    return window.React.createElement("span", own, props.tree ? build(props.tree, "0") : null);
  }
  /* One named input of a form; what is typed stays in the browser until the form is sent. */
  function Field(props) {
    var box = props.kind === "checkbox" || props.kind === "radio", own = { id: props.id, name: props.name, type: props.kind || "text", disabled: props.disabled };
    if (props.label) { own["aria-label"] = props.label; }
    if (props.kind === "file") { own.accept = props.accept; }
    else if (box) { own.value = props.value; own.defaultChecked = Boolean(props.checked); }
    else { own.defaultValue = props.value || ""; own.autoComplete = "off"; }
    return window.React.createElement("input", own);
  }
  window.dashboard = Object.assign({}, window.dashboard, { Drawing: Drawing, Field: Field });

  /* ---- a session that has ended: what a page asks for is refused, and the way leads to the sign-in and back ---- */
  var plainFetch = window.fetch;
  window.fetch = function () {
    return plainFetch.apply(window, arguments).then(function (answer) {
      if (answer.status === 401) {
        window.location.assign("/sign-in?next=" + encodeURIComponent(window.location.pathname + window.location.search));
      }
      return answer;
    });
  };

  /* ---- what the server needs to know of this window, told before the first page is asked for ---- */
  function tellWidth() {
    var wide = window.innerWidth < 700 ? "narrow" : window.innerWidth < 1200 ? "middle" : "wide";
    document.cookie = "board_width=" + wide + "; path=/; SameSite=Strict";
  }
  tellWidth();
  window.addEventListener("resize", tellWidth);

  /* ---- paper: charts are drawn for the screen's width; on a sheet they shrink as a whole ---- */
  function eachChart(work) {
    document.querySelectorAll(".js-plotly-plot .svg-container").forEach(function (box) {
      work(box, box.querySelectorAll(".main-svg"));
    });
  }
  window.addEventListener("beforeprint", function () {
    eachChart(function (box, layers) {
      if (!layers.length) { return; }
      var wide = layers[0].getAttribute("width"), high = layers[0].getAttribute("height");
      box.style.setProperty("--shape", wide + " / " + high);
      box.style.setProperty("--wide", wide + "px");
      layers.forEach(function (layer) { layer.setAttribute("viewBox", "0 0 " + wide + " " + high); });
    });
  });
  window.addEventListener("afterprint", function () {
    eachChart(function (box, layers) {
      layers.forEach(function (layer) { layer.removeAttribute("viewBox"); });
    });
  });

  /* ---- a chart by the keyboard: arrows go from piece to piece, each is spoken, Enter opens it ---- */
  function say(words) {
    var place = document.getElementById("announce");
    if (place) { place.textContent = words; }
  }
  function plain(text) {
    var words = String(text).replace(/<br>/g, ", ").replace(/<\/?b>/g, "");
    return words.replace(/&lt;/g, "<").replace(/&gt;/g, ">").replace(/&#x27;/g, "'").replace(/&quot;/g, "\"").replace(/&amp;/g, "&");
  }
  document.addEventListener("keydown", function (event) {
    var chart = event.target;
    if (!chart.matches || !chart.matches("figure[data-walked]")) { return; }
    var plot = chart.querySelector(".js-plotly-plot"), pieces = plot && plot.data && plot.data[0];
    if (!pieces || !pieces.x || !pieces.x.length) { return; }
    var last = pieces.x.length - 1, at = chart.walkedAt === undefined || chart.walkedAt > last ? last + 1 : chart.walkedAt;
    if (event.key === "Enter") {
      if (at <= last && pieces.customdata) { window.dash_clientside.set_props("url", { pathname: instrumentAt(pieces.customdata[at]) }); }
      return;
    }
    var next = { ArrowLeft: at - 1, ArrowRight: Math.min(at + 1, last), Home: 0, End: last }[event.key];
    if (event.key === "Escape") { window.Plotly.Fx.unhover(plot); chart.walkedAt = undefined; return; }
    if (next === undefined) { return; }
    event.preventDefault();
    chart.walkedAt = Math.max(0, next);
    window.Plotly.Fx.hover(plot, [{ curveNumber: 0, pointNumber: chart.walkedAt }]);
    say(plain(pieces.text[chart.walkedAt]));
  });

  /* ---- a chart as a picture; its figures unfolded by the link to them ---- */
  document.addEventListener("click", function (event) {
    var button = event.target.closest && event.target.closest("[data-picture]");
    var plot = button && button.closest(".card").querySelector(".js-plotly-plot");
    if (plot && window.Plotly) {
      window.Plotly.downloadImage(plot, { format: "png", scale: 2, filename: document.title.split(" · ")[0], width: plot.clientWidth, height: plot.clientHeight });
    }
    var link = event.target.closest && event.target.closest("a[href^='#']");
    var fold = link && document.getElementById(link.getAttribute("href").slice(1));
    if (fold && fold.tagName === "DETAILS") {
      event.preventDefault();
      fold.open = true;
      fold.querySelector("summary").focus();
      fold.scrollIntoView();
    }
  });

  function instrumentAt(serial) { return "/instruments/" + encodeURIComponent(serial); }

  function darkNow() {
    var chosen = document.documentElement.getAttribute("data-theme");
    if (chosen) { return chosen === "dark"; }
    return window.matchMedia("(prefers-color-scheme: dark)").matches;
  }

  var turned = 0;
  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    board: {
      turnPage: function (name) {
        if (!name) { return ""; }
        document.title = name;
        turned += 1;
        document.querySelectorAll("#nav a").forEach(function (link) {
          if (link.className === "here") { link.setAttribute("aria-current", "page"); }
          else { link.removeAttribute("aria-current"); }
        });
        if (turned === 1) { return ""; }
        window.setTimeout(function () {
          var title = document.getElementById("page-title");
          if (title) { title.focus({ preventScroll: true }); }
        }, 60);
        return name;
      },
      switchTheme: function (clicks) {
        if (clicks) {
          var next = darkNow() ? "light" : "dark";
          document.documentElement.setAttribute("data-theme", next);
          document.cookie = "board_theme=" + next + "; path=/; max-age=31536000; SameSite=Strict";
        }
        return window.dash_clientside.no_update;
      },
      openInstrument: function (click) {
        var point = click && click.points && click.points[0];
        if (!point || !point.customdata) { return window.dash_clientside.no_update; }
        return instrumentAt(point.customdata);
      }
    }
  });
}());
