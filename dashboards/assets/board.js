// How a page stays alive, and says so plainly when it is not.
//
// Once a second the page asks what is new. One question is open at a time and is given up after
// four seconds, so that a lost answer never stops the asking. An answer that belongs to another
// question or another page is dropped. Between answers the age of the newest reading runs on.
(function () {
  "use strict";

  const GIVE_UP_S = 4;
  const GRACE_S = 3;
  const MOST_NEW_POINTS = 600; // appended to a line before the picture is fetched anew
  const RELOAD_AFTER_S = 6 * 3600; // a browser left open for days must not grow
  const none = () => window.dash_clientside.no_update;

  const page = {
    watch: null, // what the server said this page is
    seen: {}, // digests of what is shown
    newest: null, // instant of the newest reading, and the server's clock when it said so
    told: 0,
    k: 0, // number of the last question
    answered: 0, // number of the last question that was answered
    asked: -Infinity, // when, in seconds
    heard: null, // clocks at the last answer
    cursor: 0, // instant of the newest reading drawn
    added: 0, // points appended since the picture was fetched
    whole: false, // fetch the picture anew
    value: "",
    opened: null,
    entered: false,
    revision: null, // which firing, in which unit, the chart shows
    against: null, // the target a reader chose to see: by segments or by clock
    usual: null, // the one the firing is shown against otherwise
    shown: shown,
  };

  window.firelogPage = page; // the chart's closer look (chart.js) asks for unit and target

  // Two clocks: one stands still while a tablet sleeps, the other can be set. The longer counts,
  // so that the page never claims to be fresher than it is.
  const clocks = () => ({ run: performance.now() / 1000, wall: Date.now() / 1000 });
  const since = (then) => {
    const now = clocks();
    return Math.max(now.run - then.run, now.wall - then.wall, 0);
  };

  function ago(seconds) {
    const s = Math.round(seconds);
    if (s < 120) return s + " s";
    const minutes = Math.round(s / 60);
    if (minutes < 120) return minutes + " min";
    if (minutes < 48 * 60) return Math.floor(minutes / 60) + " h " + (minutes % 60) + " min";
    return Math.round(minutes / 1440) + " days";
  }

  // ------------------------------------------------------------------ a page, and its answers
  function enter(watch) {
    const moved = page.watch && page.watch.path !== watch.path;
    page.watch = watch;
    page.seen = watch.seen;
    page.newest = watch.newest_us;
    page.told = watch.now_us;
    page.heard = clocks();
    page.opened = page.opened || clocks();
    page.cursor = watch.newest_us || 0;
    page.added = 0;
    page.whole = false;
    page.value = watch.value || "";
    page.k += 1; // whatever was asked for the page before is stale
    page.answered = page.k;
    document.title = watch.title;
    if (moved || !page.entered) setTimeout(window.firelogWay.arrived, 60); // after it is drawn
    page.entered = true;
  }

  function question() {
    const now = clocks().run;
    const every = page.watch.every_s;
    const open = page.k !== page.answered;
    if (!every || now - page.asked < (open ? GIVE_UP_S : every - 0.05)) return null;
    page.k += 1;
    page.asked = now;
    return {
      k: page.k,
      path: page.watch.path,
      after: page.cursor,
      seen: page.seen,
      whole: page.whole || page.added > MOST_NEW_POINTS,
    };
  }

  function readingAge() {
    if (!page.newest) return null;
    return (page.told - page.newest) / 1e6 + since(page.heard);
  }

  function ageWords(live) {
    const age = readingAge();
    if (age === null) return "no reading yet";
    if (age < -90) return "newest reading dated " + ago(-age) + " ahead: check the clocks";
    const words = "newest reading " + ago(Math.max(0, age)) + " ago";
    if (!live) return words + "; nothing here is newer";
    return age > page.watch.silent_s ? "no reading for " + ago(age) : words;
  }

  function beat(_, watch, unit) {
    if (!watch) return [none(), "", "live-word", "", "", true];
    if (!page.watch || watch.id !== page.watch.id) enter(watch);
    const every = watch.every_s;
    if (!every) {
      document.documentElement.removeAttribute("data-live");
      return [none(), "", "live-word", "", "", true];
    }
    if (since(page.opened) > RELOAD_AFTER_S) window.location.reload();
    const quiet = since(page.heard);
    const live = quiet <= every + GRACE_S;
    const asked = question();
    if (asked) asked.unit = unit;
    const silent = live && watch.alive && readingAge() > watch.silent_s;
    const state = live ? (silent ? "silent" : "yes") : "no";
    document.documentElement.setAttribute("data-live", state);
    document.title = (live ? "" : "NOT LIVE · ") + watch.title;
    const word = live ? (silent ? "silent" : "live") : "NOT LIVE for " + ago(quiet);
    return [
      asked || none(),
      word,
      "live-word is-" + state,
      watch.alive ? page.value : "",
      watch.alive || !live ? ageWords(live) : "",
      live && !watch.alive,
    ];
  }

  // Returns top, bottom, drawn, watch, extendData.
  function hear(answer, drawn) {
    const nothing = [none(), none(), none(), none(), none()];
    const watch = page.watch;
    if (!answer || !watch || answer.k !== page.k || answer.path !== watch.path) return nothing;
    page.answered = page.k;
    page.heard = clocks();
    if (answer.build !== watch.build) {
      window.location.reload();
      return nothing;
    }
    if (answer.watch) {
      return [answer.top, answer.bottom, answer.drawn, answer.watch, none()];
    }
    page.newest = answer.newest_us;
    page.told = answer.now_us;
    if (answer.value) page.value = answer.value;
    if (answer.alive !== undefined) watch.alive = answer.alive;
    for (const shown of document.querySelectorAll("[data-running]")) {
      const value = (answer.values || {})[shown.dataset.running];
      if (value) shown.textContent = value;
    }
    if (answer.seen) page.seen = answer.seen;
    return [
      answer.top || none(),
      answer.bottom || none(),
      none(),
      none(),
      answer.points ? extension(answer.points, drawn) : none(),
    ];
  }

  // New readings, sorted to the lines they belong to. A gap in the sequence asks for the whole.
  function extension(points, drawn) {
    if (points.after !== page.cursor || !drawn) {
      page.whole = true;
      return none();
    }
    const x = [];
    const y = [];
    const places = [];
    let most = 0;
    drawn.data.forEach((line, place) => {
      const meta = line.meta || {};
      const fresh = meta.channel === undefined ? undefined : points.lines[meta.channel];
      const off = { "off target": "off", "off asked": "near" }[meta.part];
      const values = fresh && (off ? (fresh[off] || {})[meta.against] : meta.part === "measured" && fresh.y);
      if (!values) return;
      window.firelogChart.grew(line, fresh.x, values);
      x.push(fresh.x);
      y.push(values);
      places.push(place);
      most = Math.max(most, values.length);
    });
    page.cursor = points.cursor;
    page.added += most;
    return places.length ? [{ x: x, y: y }, places] : none();
  }

  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") page.asked = -Infinity;
  });

  // ------------------------------------------------------------------ day and night
  const dark = window.matchMedia("(prefers-color-scheme: dark)");

  function scheme() {
    const chosen = document.documentElement.getAttribute("data-theme");
    return chosen || (dark.matches ? "night" : "day");
  }

  function theme(clicks) {
    if (clicks) {
      const next = scheme() === "night" ? "day" : "night";
      document.documentElement.setAttribute("data-theme", next);
      try {
        window.localStorage.setItem("firelog-theme", next);
      } catch (error) {
        // Storage may be forbidden; the choice then lasts as long as the page.
      }
      if (page.watch && page.watch.alive) page.whole = true;
    }
    return [scheme(), scheme() === "night" ? "day" : "night"];
  }

  dark.addEventListener("change", () => {
    if (!document.documentElement.hasAttribute("data-theme")) {
      window.dash_clientside.set_props("theme", { data: scheme() });
      window.dash_clientside.set_props("theme-button", {
        children: scheme() === "night" ? "day" : "night",
      });
      if (page.watch && page.watch.alive) page.whole = true;
    }
  });

  function unit(clicks, current, watch) {
    if (!clicks) return none();
    const shown = (watch && watch.unit) || current || "C";
    return shown === "F" ? "C" : "F";
  }

  const otherUnit = (watch) => (watch && watch.unit === "F" ? "in °C" : "in °F");

  // ------------------------------------------------------------------ the picture
  function recolour(value, night) {
    if (typeof value === "string") return night[value] || value;
    if (Array.isArray(value)) {
      return value.length && typeof value[0] === "object" ? value.map((v) => recolour(v, night)) : value;
    }
    if (value === null || typeof value !== "object") return value;
    const made = {};
    for (const key of Object.keys(value)) {
      // Numbers are copied, never shared: what is appended later must not change the original.
      made[key] = key === "x" || key === "y" ? copied(value[key]) : recolour(value[key], night);
    }
    return made;
  }

  const copied = (value) => (Array.isArray(value) ? value.slice() : value);

  function draw(drawn, _, night) {
    if (!drawn) return [none(), true];
    const figure = recolour(drawn, scheme() === "night" ? night : {});
    const narrow = window.innerWidth < 700;
    if (narrow) {
      figure.layout.margin = Object.assign(figure.layout.margin, { l: 40, r: 4 });
      figure.layout.xaxis.nticks = 5;
      for (const note of figure.layout.annotations) {
        if (note.name && note.name.indexOf("segment ") === 0) note.text = note.name.slice(8);
        if (note.name && note.name.indexOf("happening ") === 0) note.text = note.name.slice(10);
        if (note.name && note.name.indexOf("limit ") === 0) note.text = note.name.slice(6);
        if (note.name && note.name.indexOf("evidence ") === 0) note.text = note.name.slice(9);
        if (note.name && note.name.indexOf("title ") === 0) note.text = note.name.slice(6);
      }
    }
    window.firelogChart.prepare(figure);
    if (!page.against && figure.layout.meta) page.usual = figure.layout.meta.against;
    shown(figure.data).forEach((yes, place) => (figure.data[place].visible = yes));
    if (window.matchMedia("(pointer: coarse)").matches) {
      figure.layout.dragmode = false; // a finger scrolls the page; two fingers are the browser's
    }
    return [figure, false];
  }

  // Which lines are seen: those against the chosen target or none, of channels that are not hidden.
  function shown(lines) {
    const chosen = page.against || page.usual;
    return lines.map((line) => {
      const against = line.meta && line.meta.against;
      return (!against || against === chosen) && !window.firelogChart.hides(line);
    });
  }

  // The two words of the switch: returns whether each is pressed, and whether there is a switch.
  function against(steps, clock, drawn) {
    const usual = drawn && drawn.layout.meta && drawn.layout.meta.against;
    const asked = window.dash_clientside.callback_context.triggered.map((one) => one.prop_id);
    const graph = document.querySelector("#trace .js-plotly-plot");
    const clicked = ["steps-button.n_clicks", "clock-button.n_clicks"].find((id) => asked.includes(id));
    if (clicked) {
      page.against = clicked[0] === "s" ? "segments" : "clock";
      if (graph && window.Plotly) {
        window.Plotly.update(graph, { visible: shown(graph.data) }, { "yaxis2.autorange": true });
      }
    }
    const now = page.against || usual;
    const both = drawn && drawn.data.some((line) => line.visible === false);
    return [String(now === "segments"), String(now === "clock"), !both];
  }

  function zoom(change, clicks, drawn) {
    const asked = window.dash_clientside.callback_context.triggered.map((one) => one.prop_id);
    const graph = document.querySelector("#trace .js-plotly-plot");
    if (asked.includes("whole-button.n_clicks") && graph && window.Plotly) {
      window.Plotly.relayout(graph, { "xaxis.autorange": true, "yaxis.autorange": true, "yaxis2.autorange": true });
      return true;
    }
    const revision = drawn && drawn.layout.uirevision;
    if (asked.includes("drawn.data") && revision !== page.revision) {
      page.revision = revision;
      return !new URLSearchParams(window.location.search).has("from"); // zoomed by the address
    }
    if (asked.includes("trace.relayoutData") && change) {
      if (Object.keys(change).some((key) => key.endsWith("range[0]"))) return false;
      if (Object.keys(change).some((key) => key.endsWith("autorange"))) return true;
    }
    return none();
  }

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    firelog: { beat: beat, hear: hear, theme: theme, unit: unit, otherUnit: otherUnit, draw: draw, zoom: zoom, against: against },
  });
})();
