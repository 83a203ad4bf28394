"use strict";
// Makes the heads of the county table buttons that sort it. Without this the table is complete, by name.
for (const table of document.querySelectorAll("table.counties")) {
  const body = table.tBodies[0];
  const rows = Array.from(body.rows);
  const heads = Array.from(table.tHead.rows[0].cells);
  const said = document.getElementById("sorted");
  // What a row says under a head: a number, a name, or nothing where it has no figures.
  const value = (row, name) => {
    const cell = row.querySelector('[data-of="' + name + '"]');
    return cell === null ? null : cell.dataset.value === undefined ? cell.textContent : Number(cell.dataset.value);
  };
  const compare = (one, other) => typeof one === "string" ? one.localeCompare(other) : one - other;
  const sort = (head) => {
    const name = head.dataset.of;
    const sorted = head.getAttribute("aria-sort");
    // Names begin with the first, figures with the highest.
    const falling = sorted === null ? name !== "county" : sorted === "ascending";
    heads.forEach((other) => other.removeAttribute("aria-sort"));
    head.setAttribute("aria-sort", falling ? "descending" : "ascending");
    const keyed = rows.map((row) => [value(row, name), row]);
    keyed.sort(([one], [other]) => {
      // Rows without figures come last either way; ties keep the order of names.
      if (one === null || other === null) return (one === null) - (other === null);
      return falling ? compare(other, one) : compare(one, other);
    });
    body.append(...keyed.map(([, row]) => row));
    said.textContent = "Sorted by " + head.textContent + (falling ? ", highest first." : ", lowest first.");
  };
  for (const head of heads) {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => sort(head));
  }
  table.classList.add("sorts");
}
