// What a hand does to the chart: a finger scrolls the page until it is told to move the chart; two
// fingers, buttons and keys look closer; the chart alone on the whole screen; and the way to paper.
(function () {
  "use strict";

  const hand = { graph: null, moves: false, pinch: null, named: "" };
  const byId = (name) => document.getElementById(name);
  const plot = () => document.querySelector("#trace .js-plotly-plot");
  const coarse = () => window.matchMedia("(pointer: coarse)").matches;

  // ------------------------------------------------------------------ what is seen
  function axes(graph) {
    const full = graph._fullLayout || {};
    return Object.keys(full)
      .filter((name) => /^xaxis\d*$/.test(name) && full[name].range && !full[name].matches && full[name]._length)
      .map((name) => ({ name: name, axis: full[name], range: full[name].range.map((one) => full[name].r2l(one)) }));
  }

  // Show the stretch of each time axis ``by`` times as wide, and moved by ``to`` of its width.
  function stretch(by, to, about, from) {
    const graph = plot();
    if (!graph || !window.Plotly) return;
    const changes = {};
    (from || axes(graph)).forEach((one) => {
      const [low, high] = one.range;
      const wide = high - low;
      const still = low + wide * about;
      const first = still - wide * by * about + wide * to;
      changes[one.name + ".range[0]"] = one.axis.l2r(first);
      changes[one.name + ".range[1]"] = one.axis.l2r(first + wide * by);
    });
    window.Plotly.relayout(graph, changes);
  }

  const whole = () => byId("whole-button") && byId("whole-button").click();

  // ------------------------------------------------------------------ a lock for the finger
  function lock() {
    const graph = plot();
    if (!graph || !window.Plotly || !graph._fullLayout) return;
    const wanted = hand.moves ? "pan" : coarse() ? false : "zoom";
    if (graph._fullLayout.dragmode !== wanted) window.Plotly.relayout(graph, { dragmode: wanted });
    byId("picture").classList.toggle("moves", hand.moves);
    byId("hand-move").setAttribute("aria-pressed", String(hand.moves));
  }

  function fingers(event) {
    if (!hand.moves || event.touches.length !== 2) {
      hand.pinch = null;
      return;
    }
    event.preventDefault();
    event.stopPropagation();
    const [one, two] = event.touches;
    const apart = Math.max(20, Math.abs(one.clientX - two.clientX));
    const middle = (one.clientX + two.clientX) / 2;
    const graph = plot();
    if (!hand.pinch) {
      const box = graph.getBoundingClientRect();
      const axis = graph._fullLayout.xaxis;
      const about = Math.min(1, Math.max(0, (middle - box.left - axis._offset) / axis._length));
      hand.pinch = { apart: apart, middle: middle, about: about, from: axes(graph), wide: axis._length };
      return;
    }
    const by = hand.pinch.apart / apart;
    stretch(by, ((hand.pinch.middle - middle) / hand.pinch.wide) * by, hand.pinch.about, hand.pinch.from);
  }

  // ------------------------------------------------------------------ the whole screen
  function fill(on) {
    document.documentElement.toggleAttribute("data-filled", on);
    const button = byId("hand-fill");
    button.textContent = on ? "back to the page" : "fill the screen";
    button.setAttribute("aria-pressed", String(on));
    const page = byId("page");
    if (on && page.requestFullscreen) page.requestFullscreen().catch(() => {});
    if (!on && document.fullscreenElement) document.exitFullscreen().catch(() => {});
    fit();
  }

  const fit = () => setTimeout(() => plot() && window.Plotly && window.Plotly.Plots.resize(plot()), 60);

  document.addEventListener("fullscreenchange", () => {
    if (!document.fullscreenElement && document.documentElement.hasAttribute("data-filled")) fill(false);
  });

  // ------------------------------------------------------------------ keys, and what is heard
  const KEYS = {
    ArrowLeft: () => stretch(1, -0.15, 0.5),
    ArrowRight: () => stretch(1, 0.15, 0.5),
    "+": () => stretch(0.5, 0, 0.5),
    "=": () => stretch(0.5, 0, 0.5),
    "-": () => stretch(2, 0, 0.5),
    "0": whole,
    Home: whole,
  };

  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && document.documentElement.hasAttribute("data-filled")) return fill(false);
    if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "p" && record()) {
      event.preventDefault();
      return print();
    }
    if (event.target.id !== "picture" || event.ctrlKey || event.metaKey || event.altKey || !KEYS[event.key]) return;
    event.preventDefault();
    KEYS[event.key]();
  });

  // The chart's name says what it shows now, and what keys do; never more than there is.
  function name() {
    const graph = plot();
    const box = byId("picture");
    if (!graph || !graph.data || !box || box.hidden) return;
    const channels = [...new Set(graph.data.filter((line) => line.meta && line.meta.part === "measured" && line.visible !== false).map((line) => line.name || line.meta.channel))].filter(Boolean);
    const time = (one) => String(one.axis.l2r(one.axis.r2l(one.axis.range[one.place]))).replace("T", " ").slice(0, 16);
    const axis = axes(graph)[0];
    if (!axis) return;
    const [from, to] = [0, 1].map((place) => time({ axis: axis.axis, place: place }));
    const few = channels.slice(0, 4).join(", ") + (channels.length > 4 ? " and " + (channels.length - 4) + " others" : "");
    const reads = byId("closer") && !byId("closer").hidden ? " The slider below reads any instant." : "";
    const words = "Chart: temperature of " + (few || "no channel") + ", from " + from + " to " + to + ". Arrow keys move it, plus and minus look closer or wider, Home shows all." + reads;
    if (words !== hand.named) box.setAttribute("aria-label", (hand.named = words));
  }

  // ------------------------------------------------------------------ to paper
  const record = () => (/^\/(firing|heat|casting)\/./.test(window.location.pathname) ? "/print" + window.location.pathname : "");

  // The record is printed as the report draws it, from a frame nobody sees.
  function print() {
    const old = byId("paper");
    if (old) old.remove();
    const frame = document.createElement("iframe");
    frame.id = "paper";
    frame.title = "the printed record";
    frame.tabIndex = -1;
    frame.setAttribute("aria-hidden", "true");
    frame.src = record();
    frame.addEventListener("load", () => frame.contentWindow.print());
    document.body.append(frame);
  }

  // A page printed as it stands: the chart as wide as the paper.
  window.addEventListener("beforeprint", () => {
    const graph = plot();
    if (graph && window.Plotly) window.Plotly.relayout(graph, { autosize: false, width: 680, height: 430 });
  });
  window.addEventListener("afterprint", () => {
    const graph = plot();
    if (graph && window.Plotly) window.Plotly.relayout(graph, { autosize: true, width: null, height: null });
  });

  // ------------------------------------------------------------------ wiring
  const PRESSED = {
    "hand-move": () => {
      hand.moves = !hand.moves;
      lock();
    },
    "hand-closer": () => stretch(0.5, 0, 0.5),
    "hand-wider": () => stretch(2, 0, 0.5),
    "hand-fill": () => fill(!document.documentElement.hasAttribute("data-filled")),
    "hand-print": print,
  };
  document.addEventListener("click", (event) => PRESSED[event.target.id] && PRESSED[event.target.id]());

  function look() {
    const box = byId("hand");
    const picture = byId("picture");
    if (!box || !picture) return;
    const bare = picture.hidden;
    box.hidden = bare && !record();
    box.classList.toggle("bare", bare);
    byId("hand-print").hidden = !record();
    if (bare) return;
    const graph = plot();
    if (graph && graph !== hand.graph) {
      hand.graph = graph;
      graph.addEventListener("touchstart", fingers, { capture: true, passive: false });
      graph.addEventListener("touchmove", fingers, { capture: true, passive: false });
    }
    if (graph && graph._fullLayout) {
      lock();
      name();
    }
  }
  setInterval(look, 300);
})();
