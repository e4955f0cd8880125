// The way through the board: the bar marks where one is, a page is entered at its heading, and the
// way back leads to the place one came from, as it was left: scrolled, and at the link pressed.
(function () {
  "use strict";

  const WAIT_MS = 4000; // a page that has not grown as long as it was by then is left where it is
  const SECTIONS = [
    ["/tonight", /^\/tonight/],
    ["/morning", /^\/morning/],
    ["/heats", /^\/heats?(\/|$)/],
    ["/castings", /^\/castings?(\/|$)/],
    ["/", /^\/($|older\/|firing\/|kiln\/)/],
  ];
  const way = { path: null, title: "", back: false, until: 0, number: 0 };

  window.history.scrollRestoration = "manual"; // the pages come later than the browser looks

  function kept(name, fresh) {
    try {
      if (fresh !== undefined) window.sessionStorage.setItem("firelog-way-" + name, JSON.stringify(fresh));
      return JSON.parse(window.sessionStorage.getItem("firelog-way-" + name));
    } catch (error) {
      return null;
    }
  }

  // ------------------------------------------------------------------ entries of the history
  // Each has a number, so that two visits to one page are kept apart.
  function entry() {
    const state = window.history.state || {};
    if (!state.firelog) {
      way.number = (kept("last") || 0) + 1;
      kept("last", way.number);
      window.history.replaceState({ ...state, firelog: way.number }, "");
    }
    return window.history.state.firelog;
  }

  function note() {
    if (way.path !== window.location.pathname) return;
    const link = document.activeElement && document.activeElement.closest("main a[href]");
    const had = kept(entry()) || {};
    kept(entry(), { ...had, y: window.scrollY, link: link ? link.getAttribute("href") : had.link });
  }

  let noting = 0;
  window.addEventListener("scroll", () => {
    clearTimeout(noting);
    if (performance.now() > way.until) noting = setTimeout(note, 150);
  });
  window.addEventListener("pagehide", note);
  window.addEventListener("popstate", () => (way.back = true));

  // Before a link is followed: what is left behind, and what it is called.
  document.addEventListener(
    "click",
    (event) => {
      const link = event.target.closest && event.target.closest("a[href^='/']");
      if (!link || event.defaultPrevented || event.button || event.ctrlKey || event.metaKey) return;
      link.focus({ preventScroll: true });
      note();
      const heading = document.querySelector("main h1");
      kept("from", {
        path: window.location.pathname,
        title: heading ? heading.textContent : "",
        to: new URL(link.href).pathname,
        bar: Boolean(link.closest(".top")),
      });
    },
    true,
  );

  // ------------------------------------------------------------------ a page is there
  function arrived() {
    const path = window.location.pathname;
    const first = way.path === null;
    const moved = way.path !== path;
    way.path = path;
    mark(path);
    if (!moved) return;
    const number = entry();
    let told = kept(number);
    const from = kept("from");
    if (!told) {
      const came = from && from.to === path && from.path !== path && !from.bar ? from : null;
      told = kept(number, { y: 0, came: came });
    }
    cameFrom(told.came);
    if (first || way.back) {
      restore(told, !first);
    } else {
      window.scrollTo(0, 0);
      enter();
    }
    way.back = false;
  }

  function mark(path) {
    const found = SECTIONS.find((one) => one[1].test(path));
    document.querySelectorAll(".ways a").forEach((link) => {
      if (found && link.getAttribute("href") === found[0]) link.setAttribute("aria-current", path === found[0] ? "page" : "true");
      else link.removeAttribute("aria-current");
    });
  }

  function cameFrom(came) {
    const box = document.getElementById("came");
    if (!box) return;
    box.hidden = !came;
    if (!came) return;
    const link = document.createElement("a");
    link.href = came.path;
    link.textContent = "← back to " + (came.title || came.path);
    link.addEventListener("click", (event) => {
      event.preventDefault();
      window.history.back();
    });
    box.replaceChildren(link);
  }

  // The heading takes the focus, so that keys and ears go on from the page that came.
  // The page may be drawn a little later: for a while a focus that is lost is given back.
  function enter(tries = 25) {
    const heading = document.querySelector("main h1");
    const free = !document.activeElement || document.activeElement === document.body;
    if (heading && (free || tries === 25)) {
      heading.tabIndex = -1;
      heading.focus({ preventScroll: true });
    }
    const still = free || document.activeElement === heading;
    if (tries > 1 && still) setTimeout(() => enter(tries - 1), 120);
  }

  function restore(told, focus) {
    const end = performance.now() + WAIT_MS;
    way.until = end;
    const again = () => {
      const most = document.documentElement.scrollHeight - window.innerHeight;
      const late = performance.now() > end;
      if (most < told.y && !late) return setTimeout(again, 60);
      window.scrollTo(0, Math.min(told.y, most));
      way.until = 0;
      if (!focus) return;
      const link = told.link && [...document.querySelectorAll("main a[href]")].find((one) => one.getAttribute("href") === told.link);
      if (link) link.focus({ preventScroll: true });
      else enter();
    };
    again();
  }
  ["wheel", "touchstart", "keydown"].forEach((name) => window.addEventListener(name, () => (way.until = 0), { passive: true }));

  window.firelogWay = { arrived: arrived };
})();
