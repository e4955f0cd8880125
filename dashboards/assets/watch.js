// The alarm desk: asks every two seconds what stands, on every page, by itself.
//
// It is apart from Dash on purpose: an alarm is shown, and answered, even where a picture is not.
// When the server does not answer, the desk says so instead of looking calm.
(function () {
  "use strict";

  const EVERY_MS = 2000;
  const SILENT_MS = 8000;
  let heard = 0;
  let shown = "";
  let asking = false;
  let tone = null;
  let folded = 0;

  function name(fresh) {
    try {
      if (fresh !== undefined) window.localStorage.setItem("firelog-who", fresh);
      return window.localStorage.getItem("firelog-who") || "";
    } catch (error) {
      return fresh || "";
    }
  }

  function make(kind, words, name_) {
    const one = document.createElement(kind);
    if (words) one.textContent = words; // never as HTML: names come from outside
    if (name_) one.className = name_;
    return one;
  }

  async function ask() {
    const desk = document.getElementById("desk");
    if (!desk || asking) return;
    asking = true;
    const given = new AbortController();
    const late = setTimeout(() => given.abort(), 5000);
    try {
      const answer = await fetch("/alarms.json", { signal: given.signal, cache: "no-store" });
      if (answer.status === 401) {
        window.location.assign("/login");
        return;
      }
      const told = await answer.json();
      heard = Date.now();
      show(desk, told);
    } catch (error) {
      if (Date.now() - heard > SILENT_MS) {
        show(desk, { alarms: [], watch: "", trouble: "Alarms cannot be read: the board does not answer." });
      }
    } finally {
      clearTimeout(late);
      asking = false;
    }
  }

  function show(desk, told) {
    const now = JSON.stringify(told);
    sound(told.alarms || []);
    if (now === shown || folded) return; // somebody is writing a reason
    shown = now;
    const parts = [];
    if (told.trouble) parts.push(make("p", told.trouble, "desk-line warned"));
    if (told.watch) parts.push(make("p", told.watch, "desk-line warned"));
    (told.alarms || []).forEach((one) => parts.push(card(one, told.may_write)));
    desk.replaceChildren(...parts);
    const loud = (told.alarms || []).filter((one) => one.state === "unacknowledged");
    document.documentElement.toggleAttribute("data-alarm", loud.length > 0);
    desk.hidden = parts.length === 0;
  }

  function card(one, mayWrite) {
    const box = make("article", "", "alarm " + one.state + " " + one.priority);
    const words = make("div", "", "alarm-words");
    const since = one.left ? "put aside, " + one.left + " left" : one.state + " · since " + one.since;
    const head = make("p", since + (one.called ? " · called: " + one.called : ""), "alarm-state");
    words.append(head, make("p", one.text, "alarm-text"), make("p", one.remedy, "alarm-remedy"));
    box.append(words);
    if (mayWrite && (one.state === "unacknowledged" || one.state === "returned")) {
      const seen = make("button", one.state === "returned" ? "seen" : "seen, I act", "big");
      seen.type = "button";
      seen.dataset.alarm = String(one.number);
      seen.addEventListener("click", () => press(seen, "/acknowledge", one.number));
      const touch = make("div", "", "alarm-touch");
      touch.append(seen, aside(one.number));
      box.append(touch);
    }
    if (mayWrite && one.state === "shelved") {
      const back = make("button", "take back");
      back.type = "button";
      back.dataset.alarm = String(one.number);
      back.addEventListener("click", () => press(back, "/unshelve", one.number));
      const touch = make("div", "", "alarm-touch");
      touch.append(back);
      box.append(touch);
    }
    return box;
  }

  async function press(button, where, number) {
    button.disabled = true;
    button.textContent = "…";
    if (await post(where, { number: number, who: name() })) return;
    button.disabled = false;
    button.textContent = "not taken; press again";
  }

  // Putting aside asks for an end and a reason; it is folded away, so that nobody does it in sleep.
  function aside(number) {
    const fold = make("details", "", "aside");
    const form = make("form");
    const span = make("select");
    span.setAttribute("aria-label", "for how long");
    ["30 min", "2 h", "8 h"].forEach((one) => span.append(make("option", one)));
    const why = make("input");
    why.required = true;
    why.maxLength = 200;
    why.placeholder = "why";
    why.setAttribute("aria-label", "why it may be put aside");
    const done = make("button", "put aside");
    form.append(span, why, done);
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const told = { number: number, who: name(), lasting: span.value, why: why.value };
      done.disabled = !(await post("/shelve", told));
      done.textContent = done.disabled ? "not taken" : done.textContent;
      done.disabled = false;
    });
    fold.append(make("summary", "put aside …"), form);
    fold.addEventListener("toggle", () => (folded = document.querySelectorAll(".aside[open]").length));
    return fold;
  }

  async function post(where, told) {
    try {
      const answer = await fetch(where, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify(told),
      });
      if (!answer.ok) return false;
    } catch (error) {
      return false;
    }
    folded = 0;
    shown = "";
    ask();
    return true;
  }

  // A sound needs a touch first: browsers allow none before. Once touched, the page may call.
  window.addEventListener(
    "pointerdown",
    () => {
      if (!tone && window.AudioContext) tone = new window.AudioContext();
    },
    { once: true },
  );

  function sound(alarms) {
    const loud = alarms.some((one) => one.state === "unacknowledged" && one.priority === "high");
    if (!loud || !tone || Math.floor(Date.now() / EVERY_MS) % 3) return;
    const voice = tone.createOscillator();
    const volume = tone.createGain();
    voice.frequency.value = 660;
    volume.gain.setValueAtTime(0.2, tone.currentTime);
    volume.gain.exponentialRampToValueAtTime(0.001, tone.currentTime + 0.6);
    voice.connect(volume).connect(tone.destination);
    voice.start();
    voice.stop(tone.currentTime + 0.6);
  }

  document.addEventListener("visibilitychange", () => document.hidden || ask());
  document.addEventListener("change", (event) => {
    if (event.target.id === "who") name(event.target.value.trim());
  });
  setInterval(ask, EVERY_MS);
  ask();
})();
