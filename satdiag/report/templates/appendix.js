"use strict";
(function () {
  // The table of all rows: filtered, sorted and shown in parts, so that any number of rows stays quick.
  var data = JSON.parse(document.getElementById("rows-data").textContent);
  var section = document.getElementById("rows");
  var table = section.querySelector("table");
  var body = table.querySelector("tbody");
  var status = document.getElementById("rows-status");
  var text = document.getElementById("rows-text");
  var kind = document.getElementById("rows-kind");
  var place = document.getElementById("rows-place");
  var back = document.getElementById("rows-back");
  var on = document.getElementById("rows-on");
  var heads = Array.prototype.slice.call(table.querySelectorAll("th"));
  var KIND = 2, PLACE = 5, WITHDRAWN = data.heads.length, WAIT_MS = 200;
  var collator = new Intl.Collator(data.language);
  var found = data.rows, begin = 0, sorted = { column: -1, direction: 1 };
  var haystacks = null, waiting = 0;

  function said(name, numbers) {
    return data.said[name].replace(/\{(\w+)\}/g, function (_, key) { return numbers[key].toLocaleString(data.language); });
  }

  function compare(a, b) {
    // Numbers by size and before texts; texts as the language orders them.
    var isNumber = a !== "" && b !== "" && isFinite(a) && isFinite(b);
    return isNumber ? a - b : collator.compare(a, b);
  }

  function haystack(row) {
    return row.slice(0, WITHDRAWN).join(" ").toLowerCase();
  }

  function choose() {
    var sought = text.value.trim().toLowerCase();
    if (sought && !haystacks) haystacks = new Map(data.rows.map(function (row) { return [row, haystack(row)]; }));
    found = data.rows.filter(function (row) {
      return (!kind.value || row[KIND] === kind.value) && (!place || !place.value || row[PLACE] === place.value) &&
        (!sought || haystacks.get(row).indexOf(sought) >= 0);
    });
    if (sorted.column >= 0) {
      found.sort(function (a, b) { return sorted.direction * compare(a[sorted.column], b[sorted.column]); });
    }
    begin = 0;
    show();
  }

  function cell(row, column) {
    var made = document.createElement("td"), inner = made;
    made.setAttribute("role", "cell");
    made.setAttribute("data-head", data.heads[column]);
    if (row[WITHDRAWN] && row[column]) inner = made.appendChild(document.createElement("s"));
    inner.textContent = row[column];
    return made;
  }

  function fill(rows) {
    var made = document.createDocumentFragment();
    rows.forEach(function (row) {
      var line = made.appendChild(document.createElement("tr"));
      line.setAttribute("role", "row");
      data.heads.forEach(function (_, column) { line.appendChild(cell(row, column)); });
    });
    body.replaceChildren(made);
  }

  function show() {
    var part = found.slice(begin, begin + data.atOnce);
    fill(part);
    status.textContent = said(part.length ? "shown" : "none", {
      first: begin + 1, last: begin + part.length, found: found.length, all: data.all
    });
    back.setAttribute("aria-disabled", String(begin === 0));
    on.setAttribute("aria-disabled", String(begin + data.atOnce >= found.length));
    section.querySelector(".leaf").hidden = found.length <= data.atOnce;
  }

  function turn(step) {
    var next = begin + step * data.atOnce;
    if (next < 0 || next >= found.length) return;
    begin = next;
    show();
  }

  function sort(column) {
    sorted.direction = sorted.column === column ? -sorted.direction : 1;
    sorted.column = column;
    heads.forEach(function (head, index) {
      if (index === column) head.setAttribute("aria-sort", sorted.direction > 0 ? "ascending" : "descending");
      else head.removeAttribute("aria-sort");
    });
    choose();
  }

  heads.forEach(function (head, column) {
    var button = document.createElement("button");
    button.type = "button";
    button.textContent = head.textContent;
    button.addEventListener("click", function () { sort(column); });
    head.replaceChildren(button);
  });
  text.addEventListener("input", function () {
    clearTimeout(waiting);
    waiting = setTimeout(choose, WAIT_MS);
  });
  kind.addEventListener("change", choose);
  if (place) place.addEventListener("change", choose);
  back.addEventListener("click", function () { turn(-1); });
  on.addEventListener("click", function () { turn(1); });
  window.addEventListener("beforeprint", function () {
    var part = found.slice(0, data.printed);
    fill(part);
    status.textContent = part.length < data.rows.length ? said("printed", { printed: part.length, found: data.rows.length }) : "";
  });
  window.addEventListener("afterprint", show);
  section.querySelector(".choose").hidden = false;
  show();
})();
