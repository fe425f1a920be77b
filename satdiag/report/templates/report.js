"use strict";
(function () {
  // Draws every figure in the reader's colours, again when these change, and in light colours for the printer.
  var drawings = JSON.parse(document.getElementById("drawings").textContent);
  var dark = JSON.parse(document.getElementById("dark").textContent);
  var wantsDark = window.matchMedia("(prefers-color-scheme: dark)");
  var PRINTED_WIDTH = 660;

  function tinted(part, toDark) {
    if (typeof part === "string") return toDark && dark[part] ? dark[part] : part;
    if (Array.isArray(part)) return part.map(function (item) { return tinted(item, toDark); });
    if (part === null || typeof part !== "object") return part;
    var copy = {};
    Object.keys(part).forEach(function (key) { copy[key] = tinted(part[key], toDark); });
    return copy;
  }

  function draw(name, printing) {
    var place = document.getElementById("drawing-" + name);
    var spec = tinted(drawings[name], wantsDark.matches && !printing);
    if (printing) { spec.layout.width = PRINTED_WIDTH; spec.layout.autosize = false; }
    return Plotly.react(place, spec.data, spec.layout, { displayModeBar: false, responsive: true, showTips: false });
  }

  function drawAll(printing) {
    Object.keys(drawings).forEach(function (name) { draw(name, printing); });
  }

  var closed = [];
  window.addEventListener("beforeprint", function () {
    closed = Array.prototype.slice.call(document.querySelectorAll("details.group:not([open])"));
    closed.forEach(function (part) { part.open = true; });
    drawAll(true);
  });
  window.addEventListener("afterprint", function () {
    closed.forEach(function (part) { part.open = false; });
    drawAll(false);
  });
  wantsDark.addEventListener("change", function () { drawAll(false); });
  drawAll(false);
})();
