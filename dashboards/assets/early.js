// Before the first paint: the day or night somebody chose in this browser.
(function () {
  "use strict";
  try {
    var chosen = window.localStorage.getItem("firelog-theme");
    if (chosen === "day" || chosen === "night") {
      document.documentElement.setAttribute("data-theme", chosen);
    }
  } catch (error) {
    // Storage may be forbidden; then the system's own choice stands.
  }
})();
