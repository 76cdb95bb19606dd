"use strict";
// Sorting and filtering of the long tables. Without it the page is whole; it reads the
// cells as text, writes text alone, and neither sends nor keeps anything.
(() => {
  const order = new Intl.Collator("en-GB", { numeric: true });
  const make = (tag, attributes, ...children) => {
    const element = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
    element.append(...children);
    return element;
  };
  const plain = (text) => text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();
  const number = (text) => parseFloat(text.replace(/,/g, "").replace(/^[^\d+-]*/, ""));
  const said = (row, column) => (row.cells[column] ? row.cells[column].textContent.trim() : "");

  // Blank cells stand last, whichever way a column is sorted.
  const compare = (column, isNumber, sign) => (a, b) => {
    const [x, y] = [said(a, column), said(b, column)].map((text) => (isNumber ? number(text) : text));
    const [noX, noY] = [x, y].map((value) => value === "" || Number.isNaN(value));
    if (noX || noY) return noX - noY;
    return sign * (isNumber ? x - y : order.compare(x, y));
  };

  const help = (region, place) => {
    const table = region.querySelector("table");
    const body = table.tBodies[0];
    const original = [...body.rows];
    const texts = new Map(original.map((row) => [row, plain(row.textContent)]));
    const heads = [...table.tHead.rows[0].cells];
    const more = region.dataset.more ? `; ${region.dataset.more}` : "";
    const field = make("input", { type: "search", id: `filter-${place}`, autocomplete: "off" });
    const status = make("p", { role: "status" });
    const tools = make("div", { class: "tools" },
      make("label", { for: field.id }, "Show rows with"), field, status);
    field.setAttribute("aria-label", `Show rows with these words: ${region.getAttribute("aria-label")}`);
    let sorted = { column: -1, sign: 0 };

    const show = () => {
      const wanted = plain(field.value).split(/\s+/).filter(Boolean);
      const rows = [...original];
      if (sorted.sign) {
        const isNumber = heads[sorted.column].classList.contains("number");
        rows.sort(compare(sorted.column, isNumber, sorted.sign));
      }
      const fits = (row) => wanted.every((word) => texts.get(row).includes(word));
      for (const row of rows) row.hidden = !fits(row);
      // Hidden rows go last, so that the first ones are those that are printed.
      body.append(...rows.filter((row) => !row.hidden), ...rows.filter((row) => row.hidden));
      const count = rows.filter((row) => !row.hidden).length;
      tools.classList.toggle("in-use", wanted.length > 0);
      status.textContent = wanted.length
        ? `${count} of ${rows.length} rows shown, with “${field.value.trim()}”${more}`
        : `${rows.length} rows${more}`;
    };

    heads.forEach((head, column) => {
      const mark = make("span", { "aria-hidden": "true" });
      const button = make("button", { type: "button" }, head.textContent.trim(), mark);
      button.addEventListener("click", () => {
        const sign = sorted.column === column ? { 1: -1, "-1": 0, 0: 1 }[sorted.sign] : 1;
        sorted = { column, sign };
        for (const other of heads) other.removeAttribute("aria-sort");
        if (sign) head.setAttribute("aria-sort", sign > 0 ? "ascending" : "descending");
        show();
      });
      head.replaceChildren(button);
    });
    field.addEventListener("input", show);
    region.before(tools);
    show();
  };

  document.querySelectorAll(".table.long-table").forEach(help);

  // A table that does not scroll is no stop for the Tab key.
  const stops = () => document.querySelectorAll(".table").forEach((region) => {
    const scrolls = region.scrollWidth > region.clientWidth || region.scrollHeight > region.clientHeight;
    if (scrolls) region.setAttribute("tabindex", "0");
    else region.removeAttribute("tabindex");
  });
  stops();
  window.addEventListener("resize", stops);
})();
