"use strict";
// Tables: sorted by a tap on a heading, copied, and saved as CSV.
(function () {
  function value(cell) {
    const data = cell.querySelector("data");
    if (data) return data.hasAttribute("value") ? Number(data.value) : null;
    return cell.textContent.trim();
  }

  function sortBy(table, position) {
    const head = table.tHead.rows[0].cells[position];
    const down = head.getAttribute("aria-sort") === "ascending";
    for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", down ? "descending" : "ascending");
    const rows = Array.from(table.tBodies[0].rows, (row, order) => ({ row, order, key: value(row.cells[position]) }));
    rows.sort(function (a, b) {
      // what is unknown or empty stays at the end
      const blankA = a.key === null || a.key === "", blankB = b.key === null || b.key === "";
      if (blankA || blankB) return blankA - blankB || a.order - b.order;
      const way = typeof a.key === "number" && typeof b.key === "number"
        ? a.key - b.key : String(a.key).localeCompare(String(b.key), "en", { numeric: true });
      return (down ? -way : way) || a.order - b.order;
    });
    for (const each of rows) table.tBodies[0].append(each.row);
  }

  // text that a spreadsheet would take for a formula starts with an apostrophe; numbers stay numbers
  function field(cell) {
    let text = (cell.dataset.head || cell.textContent).trim().replace(/\s+/g, " ");
    if (cell.querySelector("data")) text = text.replace(/,(?=\d{3})/g, "");
    else if (/^[=+\-@]/.test(text)) text = "'" + text;
    return text;
  }

  function rowsOf(table) {
    return Array.from(table.rows, (row) => Array.from(row.cells, field));
  }

  function csv(table) {
    const quoted = (text) => (/[",\n]/.test(text) ? '"' + text.replace(/"/g, '""') + '"' : text);
    return rowsOf(table).map((row) => row.map(quoted).join(",")).join("\r\n") + "\r\n";
  }

  function save(name, text) {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob(["\ufeff" + text], { type: "text/csv" }));
    link.download = name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  }

  function copy(text, button) {
    const told = () => {
      button.textContent = "Copied";
      setTimeout(() => { button.textContent = "Copy"; }, 1500);
    };
    const byHand = () => {
      const area = document.createElement("textarea");
      area.value = text;
      document.body.append(area);
      area.select();
      if (document.execCommand("copy")) told();
      area.remove();
      button.focus();
    };
    if (navigator.clipboard) navigator.clipboard.writeText(text).then(told, byHand);
    else byHand();
  }

  function button(text, label, act) {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = text;
    made.setAttribute("aria-label", label);
    made.addEventListener("click", () => act(made));
    return made;
  }

  for (const part of document.querySelectorAll("section.table")) {
    const table = part.querySelector("table"), title = part.querySelector("h4").textContent;
    Array.from(table.tHead.rows[0].cells).forEach(function (head, position) {
      const press = document.createElement("button");
      press.type = "button";
      while (head.firstChild) press.append(head.firstChild);
      press.addEventListener("click", () => sortBy(table, position));
      head.append(press);
    });
    const copied = rowsOf;
    part.querySelector(".tools").append(
      button("Copy", "Copy the table " + title, (made) => copy(copied(table).map((row) => row.join("\t")).join("\n"), made)),
      button("CSV", "Save the table " + title + " as CSV", () => save(part.dataset.table + ".csv", csv(table))),
    );
  }

  for (const press of document.querySelectorAll("[data-print]")) {
    press.addEventListener("click", function () {
      const sheet = document.getElementById(press.dataset.print);
      document.body.dataset.print = sheet.id;
      sheet.classList.add("printing");
      window.print();
      sheet.classList.remove("printing");
      delete document.body.dataset.print;
    });
  }
})();
