"use strict";
(function () {
  var root = document.documentElement;
  var instance = root.dataset.instance, token = root.dataset.token;
  var names = document.querySelectorAll("section h1");
  var link = document.getElementById("link");
  var stream = null, heard = 0, ages = [], over = false, title = document.title;

  function put(parts) {
    Object.keys(parts).forEach(function (id) {
      var place = document.getElementById(id);
      if (place) { place.innerHTML = parts[id]; }
    });
  }

  function take(message) {
    var told = JSON.parse(message.data);
    if (told.instance !== instance) { location.reload(); return; }
    heard = Date.now();
    if (told.ages) { ages = told.ages; }
    over = Boolean(told.over);
    if (told.title) { title = told.title; }
    put(told.parts || {});
    say();
  }

  function open() {
    if (stream) { stream.close(); }
    stream = new EventSource("/events");
    stream.onmessage = take;
  }

  function words(seconds) {
    var s = Math.round(seconds);
    if (s < 60) { return s + " s"; }
    if (s < 3600) { return Math.floor(s / 60) + " min"; }
    return Math.floor(s / 3600) + " h " + Math.floor(s % 3600 / 60) + " min";
  }

  function say() {
    var quiet = heard ? (Date.now() - heard) / 1000 : 0, text = "", loud = false;
    if (over) {
      text = "The watch has ended. Nothing here is of now.";
      loud = true;
    } else if (!heard) {
      text = "Connecting …";
    } else if (quiet > 8) {
      text = "No word from the watch for " + words(quiet) + ". Nothing here is of now.";
      loud = true;
    } else {
      var old = ages.map(function (age, n) {
        if (age === null || age + quiet < 5) { return ""; }
        return (ages.length > 1 ? names[n].textContent + ": no" : "No") +
          " reading for " + words(age + quiet) + ".";
      }).filter(Boolean).join(" ");
      var reading = ages.some(function (age) { return age !== null; });
      text = old || (reading ? "Reading now." : "Connected.");
    }
    if (link.textContent !== text) { link.textContent = text; }
    link.className = loud ? "loud" : "";
    root.classList.toggle("stale", loud);
    document.title = loud ? "(!) no word from the watch" : title;
  }

  // Whether the watch answers and no longer knows this phone: then its page asks for the token.
  function ask() {
    fetch("/", { cache: "no-store" }).then(function (answer) {
      if (answer.status === 403) { location.reload(); }
    }).catch(function () {});
  }

  function look() {
    var quiet = heard ? (Date.now() - heard) / 1000 : 0;
    say();
    // A stream that hangs is opened anew; one that ended is opened by the browser, at its pace.
    if (document.visibilityState === "visible" &&
        (stream.readyState === 2 || quiet > 12 && Date.now() - opened > 10000)) {
      if (stream.readyState === 2) { ask(); }
      opened = Date.now();
      open();
    }
  }

  var opened = Date.now();
  function again() {
    if (document.visibilityState === "visible") { opened = Date.now(); open(); }
  }

  document.addEventListener("visibilitychange", again);
  window.addEventListener("pageshow", function (event) { if (event.persisted) { again(); } });
  window.addEventListener("online", again);
  document.addEventListener("click", function (event) {
    var button = event.target.closest("button[data-do]");
    if (!button) { return; }
    button.disabled = true;
    fetch("/" + button.dataset.do, {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Firing-Token": token },
      body: JSON.stringify({ watch: Number(button.dataset.watch), call: Number(button.dataset.call) })
    }).then(function (answer) {
      if (!answer.ok && answer.status !== 404) { throw new Error(String(answer.status)); }
    }).catch(function () {
      button.disabled = false;
      button.textContent = "That did not arrive. Try again";
    });
  });
  open();
  setInterval(look, 1000);
})();
