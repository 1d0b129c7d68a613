document.querySelectorAll("table.sortable").forEach(function (table) {
  var heads = Array.prototype.slice.call(table.tHead.rows[0].cells);
  heads.forEach(function (head, column) {
    if (head.hasAttribute("data-plain")) return;
    var button = document.createElement("button");
    button.type = "button";
    while (head.firstChild) button.appendChild(head.firstChild);
    head.appendChild(button);
    button.addEventListener("click", function () {
      var up = head.getAttribute("aria-sort") !== "ascending";
      heads.forEach(function (other) { other.removeAttribute("aria-sort"); });
      head.setAttribute("aria-sort", up ? "ascending" : "descending");
      var key = function (row) {
        var cell = row.cells[column], value = cell.getAttribute("data-value");
        return value === null ? cell.textContent.trim() : value;
      };
      var rows = Array.prototype.slice.call(table.tBodies[0].rows);
      rows.sort(function (a, b) {
        var x = key(a), y = key(b);
        if (x === "" || y === "") return x === y ? 0 : x === "" ? 1 : -1;
        var order = isNaN(x) || isNaN(y) ? x.localeCompare(y, "en", { numeric: true }) : x - y;
        return up ? order : -order;
      });
      rows.forEach(function (row) { table.tBodies[0].appendChild(row); });
    });
  });
});
