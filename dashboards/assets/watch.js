// The alarm desk: asks every two seconds what stands, on every page, by itself.
//
// It is apart from Dash on purpose: an alarm is shown, and answered, even where a picture is not.
// The cards come drawn from the server (desk.py), the first ones in the page itself. When the
// server does not answer, they stay, greyed, with their age, and a tone that sounded sounds on.
(function () {
  "use strict";

  const EVERY_MS = 2000;
  const SILENT_MS = 8000;
  const STEADY_MS = 700; // a card that came or moved just now is not what a finger aimed at
  let heard = Date.now();
  let shown = null;
  let standing = []; // the alarms last heard of
  let asking = false;
  let moved = -Infinity;
  let tone = null;

  const byId = (name) => document.getElementById(name);
  const folded = () => document.querySelector(".aside[open]") !== null; // somebody writes a reason

  function remember(name, fresh) {
    try {
      if (fresh !== undefined) window.localStorage.setItem(name, fresh);
      return window.localStorage.getItem(name) || "";
    } catch (error) {
      return fresh || "";
    }
  }

  const who = (fresh) => remember("firelog-who", fresh);

  // ------------------------------------------------------------------ what stands
  async function ask() {
    if (!byId("desk") || asking) return;
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
      if (!told.trouble) {
        heard = Date.now();
        show(told);
      }
      lost(told.trouble || "");
    } catch (error) {
      if (Date.now() - heard > SILENT_MS) lost("The board does not answer.");
    } finally {
      clearTimeout(late);
      asking = false;
      sound();
    }
  }

  function show(told) {
    standing = told.alarms;
    const now = told.cards;
    if (now === shown || folded()) return;
    const focused = document.activeElement && document.activeElement.closest("#desk [data-alarm]");
    const was = order();
    byId("desk-cards").innerHTML = now; // made and escaped by the server's desk alone
    shown = now;
    if (was !== order()) moved = performance.now();
    if (focused) {
      const same = document.querySelector('#desk button[data-alarm="' + focused.dataset.alarm + '"]');
      if (same) same.focus();
    }
    settle();
  }

  const order = () => [...document.querySelectorAll("#desk-cards > *")].map((one) => one.dataset.number).join();

  // Nothing comes from the board: what stood is still shown, and how old it is.
  function lost(why) {
    const desk = byId("desk");
    const line = byId("desk-lost");
    desk.classList.toggle("is-lost", Boolean(why));
    line.hidden = !why;
    if (why) {
      const age = Math.round((Date.now() - heard) / 1000);
      const old = age < 120 ? age + " s" : Math.round(age / 60) + " min";
      const what = standing.length || order() ? " The alarms below stood " + old + " ago; nothing newer is known." : " No alarm was known " + old + " ago; nothing newer is.";
      line.textContent = why + what;
    }
    settle();
  }

  // The room that the desk takes is kept free at the foot of the page.
  function settle() {
    const desk = byId("desk");
    const loud = standing.some((one) => one.state === "unacknowledged");
    document.documentElement.toggleAttribute("data-alarm", loud);
    desk.hidden = !byId("desk-cards").children.length && byId("desk-lost").hidden;
    const high = desk.hidden ? 0 : desk.getBoundingClientRect().height;
    document.documentElement.style.setProperty("--desk", Math.ceil(high) + "px");
  }

  // ------------------------------------------------------------------ what a person does
  async function press(button) {
    const words = button.textContent;
    button.disabled = true;
    button.textContent = "…";
    if (await post(button.dataset.act, { number: Number(button.dataset.alarm), who: who() })) return;
    button.disabled = false;
    button.textContent = "not taken; press again";
    setTimeout(() => (button.textContent = words), 6000);
  }

  async function putAside(form) {
    const done = form.querySelector("button");
    const told = { number: Number(form.dataset.alarm), who: who(), lasting: form.lasting.value, why: form.why.value };
    done.disabled = true;
    const taken = await post("/shelve", told);
    done.disabled = false;
    if (!taken) done.textContent = "not taken";
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
    document.querySelectorAll(".aside[open]").forEach((one) => (one.open = false));
    shown = null;
    ask();
    return true;
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest && event.target.closest("#desk button[data-act]");
    if (!button) return;
    // A press on what has only just come under the finger was meant for something else.
    if (event.detail && performance.now() - moved < STEADY_MS) return;
    press(button);
  });
  document.addEventListener("submit", (event) => {
    if (!event.target.closest("#desk")) return;
    event.preventDefault();
    putAside(event.target);
  });
  document.addEventListener("change", (event) => {
    if (event.target.id === "who") who(event.target.value.trim());
  });

  // ------------------------------------------------------------------ the sound
  // Browsers allow no sound before a touch: one button, on every page, says whether it is armed.
  const wished = () => remember("firelog-sound") === "on";
  const armed = () => Boolean(tone) && tone.state === "running" && wished();

  async function arm() {
    if (armed()) {
      remember("firelog-sound", "off");
    } else {
      remember("firelog-sound", "on");
      if (!tone && window.AudioContext) tone = new window.AudioContext();
      if (tone) await tone.resume();
      if (armed()) beep(); // so that it is known to be loud enough
    }
    sayArmed();
  }

  function sayArmed() {
    const button = byId("sound-button");
    if (!button) return;
    const on = armed();
    const words = on ? "sound on" : "no sound";
    if (button.textContent === words) return;
    button.textContent = words;
    button.setAttribute("aria-pressed", String(on));
    button.title = on
      ? "a high alarm sounds in this browser; touch to switch it off"
      : "alarms make no sound in this browser; touch to arm it";
    button.classList.toggle("is-off", !on);
  }

  function beep() {
    const voice = tone.createOscillator();
    const volume = tone.createGain();
    voice.frequency.value = 660;
    volume.gain.setValueAtTime(0.2, tone.currentTime);
    volume.gain.exponentialRampToValueAtTime(0.001, tone.currentTime + 0.6);
    voice.connect(volume).connect(tone.destination);
    voice.start();
    voice.stop(tone.currentTime + 0.6);
  }

  function sound() {
    sayArmed();
    const loud = standing.some((one) => one.state === "unacknowledged" && one.priority === "high");
    document.documentElement.toggleAttribute("data-loud", loud && !armed());
    if (loud && armed() && Math.floor(Date.now() / EVERY_MS) % 3 === 0) beep();
  }

  document.addEventListener("click", (event) => {
    if (event.target.id === "sound-button") arm();
  });
  // Armed before, and this page is new: the first touch of any kind takes it up again.
  window.addEventListener("pointerdown", (event) => {
    if (wished() && !armed() && event.target.id !== "sound-button") {
      if (!tone && window.AudioContext) tone = new window.AudioContext();
      if (tone) tone.resume().then(sayArmed);
    }
  });

  document.addEventListener("visibilitychange", () => document.hidden || ask());
  window.addEventListener("resize", () => byId("desk") && settle());
  setInterval(ask, EVERY_MS);
  settle();
  ask();
})();
