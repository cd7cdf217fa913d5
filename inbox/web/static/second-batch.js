// Keys, and words when a save did not get through. Every page works without this file.
(function () {
  "use strict";
  var OFF = "second-batch keys off";
  var at = -1;

  function typing(target) {
    return target.closest && target.closest("input:not([type=checkbox]), textarea, select, [contenteditable]");
  }
  function entries() {
    return Array.from(document.querySelectorAll(".entries > li"));
  }
  function go(step) {
    var all = entries();
    if (!all.length) return;
    if (all[at]) all[at].removeAttribute("aria-current");
    at = Math.max(0, Math.min(all.length - 1, at + step));
    all[at].setAttribute("aria-current", "true");
    var link = all[at].querySelector("a");
    if (link) link.focus();
  }
  function isOff() {
    try { return localStorage.getItem(OFF) === "yes"; } catch (error) { return false; }
  }

  document.addEventListener("keydown", function (event) {
    if (event.ctrlKey || event.metaKey || event.altKey || typing(event.target)) return;
    var keys = document.getElementById("keys");
    if (!keys || isOff()) return;
    if (event.key === "?") {
      keys.open = !keys.open;
      keys.querySelector("summary").focus();
    } else if (event.key === "j") { go(1); }
    else if (event.key === "k") { go(-1); }
    else if (event.key === "x") {
      var box = entries()[at] && entries()[at].querySelector("input[type=checkbox]");
      if (box) box.checked = !box.checked;
    } else if (event.key === "u") {
      var undo = document.querySelector(".notice form button");
      if (undo) undo.click();
    } else {
      var target = document.querySelector('[data-key="' + CSS.escape(event.key) + '"]');
      if (!target) return;
      event.preventDefault();
      if (target.matches("input")) { target.focus(); target.select(); } else { target.click(); }
      return;
    }
    event.preventDefault();
  });

  var off = document.getElementById("keys-off");
  if (off) {
    off.checked = isOff();
    off.addEventListener("change", function () {
      try { localStorage.setItem(OFF, off.checked ? "yes" : ""); } catch (error) { /* private window */ }
    });
  }

  document.addEventListener("htmx:afterRequest", function (event) {
    var place = document.getElementById("saved");
    if (!place || !event.detail.elt.closest("[data-saves]")) return;
    if (event.detail.successful) {
      place.textContent = "Saved.";
    } else if (event.detail.xhr && event.detail.xhr.status === 401) {
      place.textContent = "You were signed out. Your words are still here: press a button below and sign in, and they go on.";
    } else {
      place.textContent = "Not saved yet; the words are still here. It will be tried again when you go on typing.";
    }
  });
})();
