// A closer look at the chart: the stretch that is seen is asked for anew, as finely as the screen
// shows it, and one instant can be read on every channel.
//
// All instants here are wall times of the foundry as the server writes them ("2026-03-01T04:12:00"),
// never numbers: a number would be moved into the zone of whoever looks.
(function () {
  "use strict";

  const WAIT_MS = 120; // after the last movement of a zoom
  const READ_MS = 60; // between two readings of a line that is dragged
  const GIVE_UP_MS = 8000;

  const chart = {
    graph: null,
    serial: 0, // of the picture that is drawn
    drawn: 0, // of the picture whose lines are kept in base
    of: "",
    base: {}, // the lines of the whole picture by key: what lies beside a closer look
    have: null, // the stretch that is drawn closely
    asking: null,
    reading: null,
    at: "",
    hidden: new Set(), // channels
    timer: 0,
  };

  // ------------------------------------------------------------------ wall time
  const ms = (x) => Date.parse(x.replace(" ", "T") + "Z");
  const iso = (at) => new Date(at).toISOString().slice(0, -1).replace(/\.000$/, "");
  const byId = (name) => document.getElementById(name);
  const unit = () => {
    const watch = window.firelogPage && window.firelogPage.watch;
    return (watch && watch.unit) || "";
  };

  function make(kind, words, name) {
    const one = document.createElement(kind);
    if (words) one.textContent = words; // never as HTML: names come from outside
    if (name) one.className = name;
    return one;
  }

  async function ask(where, asked, signal) {
    const given = new AbortController();
    const late = setTimeout(() => given.abort(), GIVE_UP_MS);
    if (signal) signal.addEventListener("abort", () => given.abort());
    try {
      const told = new URLSearchParams({ of: chart.of, unit: unit(), ...asked });
      const answer = await fetch(where + "?" + told, { signal: given.signal, cache: "no-store" });
      if (answer.status === 401) window.location.assign("/login");
      return await answer.json();
    } finally {
      clearTimeout(late);
    }
  }

  // ------------------------------------------------------------------ the address
  function kept() {
    return new URLSearchParams(window.location.search);
  }

  function keep(changes) {
    const told = kept();
    Object.entries(changes).forEach(([name, value]) => {
      told.delete(name);
      [value].flat().forEach((one) => one !== "" && told.append(name, one));
    });
    const words = told.toString().replaceAll("%3A", ":");
    const address = window.location.pathname + (words ? "?" + words : "");
    if (address !== window.location.pathname + window.location.search) {
      window.history.replaceState(window.history.state, "", address);
    }
  }

  // ------------------------------------------------------------------ a picture is drawn
  // Called with each figure before it is drawn: what the address says is put into it.
  function prepare(figure) {
    const meta = figure.layout.meta || {};
    const told = kept();
    chart.serial += 1;
    figure.layout.meta = Object.assign({}, meta, { serial: chart.serial });
    const fresh = chart.of !== (meta.of || "");
    if (fresh) {
      chart.of = meta.of || "";
      chart.at = "";
      chart.hidden = new Set();
      if (told.has("channel")) {
        const shown = told.getAll("channel");
        figure.data.forEach((line) => {
          const channel = line.meta && line.meta.channel;
          if (channel !== undefined && !shown.includes(channel)) chart.hidden.add(channel);
        });
      }
    }
    if (chart.of && told.get("from") && told.get("to")) {
      figure.layout.xaxis.range = [told.get("from"), told.get("to")];
      figure.layout.xaxis.autorange = false;
    }
    const box = byId("picture");
    if (box && meta.lower) box.style.setProperty("--lower", String(meta.lower));
    if (box) box.classList.toggle("tall", meta.rows > 0);
    if (chart.have && fresh) chart.have = null;
    return figure;
  }

  const hides = (line) => chart.hidden.has(line.meta && line.meta.channel);

  function attach(graph) {
    chart.graph = graph;
    graph.on("plotly_afterplot", afterplot);
    graph.on("plotly_relayout", moved);
    graph.on("plotly_relayouting", place);
    graph.on("plotly_click", (event) => {
      const point = event.points && event.points[0];
      if (chart.of && point && typeof point.x === "string") read(point.x.replace(" ", "T"));
    });
  }

  function look() {
    const graph = document.querySelector("#trace .js-plotly-plot");
    if (graph && graph !== chart.graph && graph.on) attach(graph);
    if (graph) afterplot();
  }

  function afterplot() {
    const layout = chart.graph.layout;
    const serial = layout && layout.meta && layout.meta.serial;
    if (serial && serial !== chart.drawn) {
      chart.drawn = serial;
      chart.have = null;
      chart.base = {};
      chart.graph.data.forEach((line) => {
        if (line.meta && line.meta.key) chart.base[line.meta.key] = { x: line.x.slice(), y: line.y.slice() };
      });
      desk();
      keys();
      closer();
      const at = kept().get("at");
      if (chart.of && at && at !== chart.at) read(at);
    }
    place();
  }

  // ------------------------------------------------------------------ what is seen
  function seen() {
    const full = chart.graph && chart.graph._fullLayout;
    const axis = full && full.xaxis;
    if (!axis || !axis._length || !axis.range || typeof axis.range[0] !== "string") return null;
    return { from: ms(axis.range[0]), to: ms(axis.range[1]), wide: axis._length, left: axis._offset };
  }

  function moved(change) {
    const names = Object.keys(change || {});
    if (!names.some((name) => name.startsWith("xaxis"))) return;
    const now = seen();
    const whole = change["xaxis.autorange"] === true;
    if (now && chart.of) keep(whole ? { from: "", to: "" } : { from: iso(Math.round(now.from)), to: iso(Math.round(now.to)) });
    closer();
    place();
  }

  // Ask for the stretch that is seen, and as much again on either side, so that it can be moved.
  function closer() {
    clearTimeout(chart.timer);
    chart.timer = setTimeout(fetchWindow, WAIT_MS);
  }

  async function fetchWindow() {
    const now = seen();
    const meta = chart.graph && chart.graph.layout.meta;
    if (!now || !chart.of || !meta.began) return;
    const span = now.to - now.from;
    const from = Math.max(ms(meta.began), now.from - span);
    const to = Math.max(from + 1000, now.to + span);
    const column = span / now.wide;
    const have = chart.have;
    if (have && have.from <= Math.max(now.from, ms(meta.began)) && have.to >= now.to && (have.every || have.column <= column * 1.01)) {
      return say(have.words);
    }
    if (chart.asking) chart.asking.abort();
    const mine = (chart.asking = new AbortController());
    const serial = chart.drawn;
    say("looking closer …");
    try {
      const columns = Math.ceil((to - from) / column);
      const told = await ask("/window.json", { from: iso(from), to: iso(to), columns: columns }, mine.signal);
      if (mine !== chart.asking || serial !== chart.drawn) return;
      if (told.trouble) return say(told.trouble, true);
      draw(told);
      chart.have = { from: from, to: to, column: column, every: told.every, words: told.words };
      say(told.words);
    } catch (error) {
      if (mine === chart.asking) say("drawn from thinned readings: the board does not answer", true);
    }
  }

  function draw(told) {
    const places = [], x = [], y = [], texts = [], text = [];
    chart.graph.data.forEach((line, place) => {
      const fresh = line.meta && told.lines.find((one) => one.key === line.meta.key);
      if (!fresh) return;
      const base = chart.base[line.meta.key];
      const joined = fresh.whole || !base ? fresh : join(base, fresh, told.from, told.to);
      places.push(place);
      x.push(joined.x);
      y.push(joined.y);
      if (fresh.text) {
        texts.push(place);
        text.push(fresh.text);
      }
    });
    if (!places.length) return;
    window.Plotly.update(chart.graph, { x: x, y: y }, names(), places);
    if (texts.length) window.Plotly.restyle(chart.graph, { text: text }, texts);
  }

  // A limit's words stay in sight while its line is.
  function names() {
    const now = seen();
    const changes = {};
    const meta = chart.graph.layout.meta;
    (chart.graph.layout.annotations || []).forEach((note, place) => {
      if (!now || !note.name || !note.name.startsWith("limit ")) return;
      const from = (meta.limits || {})[note.name];
      if (!from) return;
      const first = Math.max(ms(from[0]), now.from + 0.01 * (now.to - now.from));
      changes["annotations[" + place + "].x"] = iso(Math.round(Math.min(first, ms(from[1]))));
    });
    return changes;
  }

  // The whole line's points on either side of a stretch, and the stretch's own within it.
  function join(base, fresh, from, to) {
    const before = base.x.findIndex((one) => one >= from);
    const first = before < 0 ? base.x.length : before;
    let after = base.x.findIndex((one) => one > to);
    if (after < 0) after = base.x.length;
    return {
      x: base.x.slice(0, first).concat(fresh.x, base.x.slice(after)),
      y: base.y.slice(0, first).concat(fresh.y, base.y.slice(after)),
    };
  }

  // New readings of a running firing: they belong to the whole line too.
  function grew(line, x, y) {
    const base = line.meta && chart.base[line.meta.key];
    if (!base) return;
    base.x.push(...x);
    base.y.push(...y);
  }

  function say(words, warned) {
    const where = byId("closer-drawn");
    if (!where) return;
    where.textContent = words;
    where.classList.toggle("warned", Boolean(warned));
  }

  // ------------------------------------------------------------------ channels
  function keys() {
    document.querySelectorAll("[data-channel]").forEach((button) => {
      button.setAttribute("aria-pressed", String(!chart.hidden.has(button.dataset.channel)));
    });
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest && event.target.closest("[data-channel]");
    if (!button || !chart.graph) return;
    const name = button.dataset.channel;
    if (!chart.hidden.delete(name)) chart.hidden.add(name);
    const all = [...document.querySelectorAll("[data-channel]")].map((one) => one.dataset.channel);
    const left = all.filter((one) => !chart.hidden.has(one));
    // With none left a name that nobody has: an address without channels shows all.
    keep({ channel: chart.hidden.size ? (left.length ? left : ["none"]) : [] });
    keys();
    window.Plotly.restyle(chart.graph, { visible: window.firelogPage.shown(chart.graph.data) });
  });

  // ------------------------------------------------------------------ the reading line
  function desk() {
    const where = byId("closer");
    if (!where) return;
    where.hidden = !chart.of;
    if (where.dataset.built) return;
    where.dataset.built = "yes";
    const slide = make("input", "", "closer-slide");
    slide.type = "range";
    slide.id = "closer-slide";
    slide.setAttribute("aria-label", "the instant to read, along the chart");
    slide.min = 0;
    slide.max = 1000;
    slide.step = 1;
    slide.value = 0;
    slide.addEventListener("input", () => {
      const now = seen();
      if (now) soon(iso(Math.round((now.from + (Number(slide.value) / 1000) * (now.to - now.from)) / 1000) * 1000));
    });
    const form = make("form", "", "closer-ask");
    const label = make("label", "Read at");
    label.htmlFor = "closer-at";
    const field = make("input");
    field.id = "closer-at";
    field.autocomplete = "off";
    field.placeholder = "04:12";
    field.setAttribute("aria-describedby", "closer-how");
    const how = make("span", "the time on the foundry's clock, or +3 h 20 min", "soft");
    how.id = "closer-how";
    const done = make("button", "read");
    done.type = "submit";
    const away = make("button", "put away");
    away.type = "button";
    away.id = "closer-away";
    away.hidden = true;
    away.addEventListener("click", putAway);
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      if (field.value.trim()) read(field.value.trim());
    });
    form.append(label, field, done, away, how);
    const drawn = make("p", "", "closer-drawn soft");
    drawn.id = "closer-drawn";
    drawn.setAttribute("role", "status");
    const said = make("div", "", "closer-said");
    said.id = "closer-said";
    said.setAttribute("aria-live", "polite");
    where.replaceChildren(slide, drawn, form, said, outs());
    const line = make("div", "", "reading-line");
    line.id = "reading-line";
    line.hidden = true;
    const grip = make("div", "", "reading-grip");
    grip.setAttribute("aria-hidden", "true"); // the slider is the same thing for keys and ears
    grip.addEventListener("pointerdown", drag);
    line.append(grip);
    byId("picture").append(line);
  }

  function outs() {
    const box = make("div", "", "closer-out");
    const link = make("a", "readings of this stretch as CSV");
    link.href = "#";
    link.addEventListener("click", () => {
      const now = seen();
      if (!now) return;
      const told = { of: chart.of, unit: unit(), from: iso(Math.round(now.from)), to: iso(Math.round(now.to)) };
      link.href = "/readings.csv?" + new URLSearchParams(told);
    });
    const fold = make("details");
    const inside = make("div", "", "closer-table");
    inside.tabIndex = 0;
    inside.setAttribute("role", "region");
    inside.setAttribute("aria-label", "the numbers of this stretch");
    fold.append(make("summary", "this stretch as a table"), inside);
    fold.addEventListener("toggle", async () => {
      const now = seen();
      if (!fold.open || !now) return;
      try {
        const told = await ask("/table.json", { from: iso(Math.round(now.from)), to: iso(Math.round(now.to)) });
        inside.replaceChildren(told.trouble ? make("p", told.trouble) : table(told.heads, told.rows));
      } catch (error) {
        inside.replaceChildren(make("p", "the board does not answer; open this again", "warned"));
      }
    });
    box.append(link, fold);
    return box;
  }

  function table(heads, rows, name) {
    const made = make("table", "", name || "");
    const head = make("tr");
    heads.forEach((one) => {
      const cell = make("th", one);
      cell.scope = "col";
      head.append(cell);
    });
    const top = make("thead");
    top.append(head);
    const body = make("tbody");
    rows.forEach((row) => {
      const line = make("tr");
      row.forEach((one, column) => {
        const cell = make(column ? "td" : "th", one);
        if (column) cell.dataset.label = heads[column];
        else cell.scope = "row";
        line.append(cell);
      });
      body.append(line);
    });
    made.append(top, body);
    return made;
  }

  function drag(event) {
    event.preventDefault();
    event.target.setPointerCapture(event.pointerId);
    const box = byId("picture").getBoundingClientRect();
    const follow = (move) => {
      const now = seen();
      if (!now) return;
      const share = Math.min(1, Math.max(0, (move.clientX - box.left - now.left) / now.wide));
      soon(iso(Math.round((now.from + share * (now.to - now.from)) / 1000) * 1000));
    };
    const end = () => {
      event.target.removeEventListener("pointermove", follow);
      event.target.removeEventListener("pointerup", end);
      event.target.removeEventListener("pointercancel", end);
    };
    event.target.addEventListener("pointermove", follow);
    event.target.addEventListener("pointerup", end);
    event.target.addEventListener("pointercancel", end);
  }

  let waiting = 0;
  function soon(at) {
    chart.at = at;
    place();
    clearTimeout(waiting);
    waiting = setTimeout(() => read(at), READ_MS);
  }

  async function read(at) {
    const now = seen();
    if (chart.reading) chart.reading.abort();
    const mine = (chart.reading = new AbortController());
    const near = chart.at || (now ? iso(Math.round((now.from + now.to) / 2)) : "");
    try {
      const told = await ask("/instant.json", { at: at, near: near }, mine.signal);
      if (mine !== chart.reading) return;
      if (told.trouble) return trouble(told.trouble);
      chart.at = told.at;
      keep({ at: told.at });
      show(told);
      place();
    } catch (error) {
      if (mine === chart.reading) trouble("The board does not answer; the line shows nothing.");
    }
  }

  function trouble(words) {
    const one = make("p", words, "warned");
    byId("closer-said").replaceChildren(one);
  }

  function show(told) {
    const title = make("h2", told.clock + " ");
    title.append(make("span", told.after + (told.note ? " · " + told.note : ""), "soft"));
    const parts = [title];
    if (told.around.length) {
      const list = make("ul", "", "closer-around");
      told.around.forEach((one) => list.append(make("li", one)));
      parts.push(list);
    }
    const heads = ["Channel", "Value ± U", "Target", "Off", "Quality", "Read at"];
    const rows = told.rows.map((row) => [
      row.channel,
      row.value,
      row.target,
      row.off + (row.off_from ? " from " + row.off_from : ""),
      row.quality,
      row.read_at,
    ]);
    parts.push(table(heads, rows, "closer-rows"));
    byId("closer-said").replaceChildren(...parts);
    byId("closer-away").hidden = false;
    const first = told.rows[0];
    byId("closer-slide").setAttribute("aria-valuetext", told.clock + (first ? ", " + first.channel + " " + first.value : ""));
  }

  function putAway() {
    chart.at = "";
    keep({ at: "" });
    byId("closer-said").replaceChildren();
    byId("closer-away").hidden = true;
    byId("closer-slide").removeAttribute("aria-valuetext");
    place();
    byId("closer-at").focus();
  }

  // Put the line, and the slider's thumb, where the instant lies.
  function place() {
    const line = byId("reading-line");
    const now = seen();
    const slide = byId("closer-slide");
    if (!line || !now) return;
    const share = chart.at ? (ms(chart.at) - now.from) / (now.to - now.from) : -1;
    line.hidden = !chart.of || share < 0 || share > 1;
    line.style.left = now.left + share * now.wide + "px";
    const box = byId("picture");
    const desk = slide.parentElement.getBoundingClientRect();
    const left = chart.graph.getBoundingClientRect().left - desk.left + now.left - 8;
    slide.style.marginLeft = left + "px";
    slide.style.width = Math.min(now.wide + 16, desk.width - left) + "px";
    if (share >= 0 && share <= 1 && document.activeElement !== slide) slide.value = Math.round(share * 1000);
    else if (share >= 0 && share <= 1 && Math.abs(slide.value - share * 1000) > 1) slide.value = Math.round(share * 1000);
    box.classList.toggle("read", !line.hidden);
  }

  window.firelogChart = { prepare: prepare, look: look, hides: hides, grew: grew };
  setInterval(look, 250);
})();
