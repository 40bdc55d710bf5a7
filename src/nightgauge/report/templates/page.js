(() => {
  "use strict";
  const look = JSON.parse(document.getElementById("chart-look").textContent);

  // Columns travel; the charts want rows.
  const rowsOf = (columns) => {
    const names = Object.keys(columns);
    return (columns[names[0]] || []).map((_, at) => Object.fromEntries(names.map((name) => [name, columns[name][at]])));
  };

  const draw = (chart) => {
    if (chart.dataset.drawn || chart.clientWidth === 0) return;
    chart.dataset.drawn = "started";
    const spec = JSON.parse(chart.querySelector("script").textContent);
    for (const name of Object.keys(spec.datasets)) spec.datasets[name] = rowsOf(spec.datasets[name]);
    spec.config = look;
    vegaEmbed(chart.querySelector(".drawing"), spec, { mode: "vega-lite", renderer: "svg", actions: false, ast: true })
      .then(() => { chart.dataset.drawn = "yes"; })
      .catch((error) => { chart.dataset.drawn = "failed"; console.error(error); });
  };

  const charts = Array.from(document.querySelectorAll(".chart"));
  if ("IntersectionObserver" in window) {
    const seen = new IntersectionObserver((entries) => {
      for (const entry of entries) if (entry.isIntersecting) { seen.unobserve(entry.target); draw(entry.target); }
    }, { rootMargin: "800px" });
    charts.forEach((chart) => seen.observe(chart));
  }
  // The rest one by one in idle time, so that a long page does not freeze and prints whole.
  const waiting = charts.slice();
  const idle = window.requestIdleCallback || ((go) => setTimeout(go, 30));
  const next = () => { const chart = waiting.shift(); if (chart) { draw(chart); idle(next); } };
  idle(next);

  document.addEventListener("toggle", (event) => {
    if (event.target.open) event.target.querySelectorAll(".chart").forEach(draw);
  }, true);
  // A link to a folded vessel opens it.
  const unfold = () => {
    const target = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    if (target && target.tagName === "DETAILS") target.open = true;
  };
  window.addEventListener("hashchange", unfold);
  unfold();

  let openedForPrint = [];
  window.addEventListener("beforeprint", () => {
    openedForPrint = Array.from(document.querySelectorAll("details:not([open])"));
    openedForPrint.forEach((fold) => { fold.open = true; });
    charts.forEach(draw);
  });
  window.addEventListener("afterprint", () => openedForPrint.forEach((fold) => { fold.open = false; }));

  const valueOf = (row, column) => {
    const text = row.children[column].dataset.sort;
    const number = Number(text);
    return text === "" ? null : Number.isNaN(number) ? text : number;
  };
  document.querySelectorAll("table.sortable").forEach((table) => {
    const heads = Array.from(table.tHead.rows[0].cells);
    heads.forEach((head, column) => head.querySelector("button").addEventListener("click", () => {
      const down = head.getAttribute("aria-sort") === "ascending";
      heads.forEach((other) => other.setAttribute("aria-sort", "none"));
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      const rows = Array.from(table.tBodies[0].rows);
      rows.sort((one, other) => {
        const a = valueOf(one, column), b = valueOf(other, column);
        if (a === null || b === null) return (a === null) - (b === null);
        const order = typeof a === "number" && typeof b === "number" ? a - b : String(a).localeCompare(String(b), "en", { numeric: true });
        return down ? -order : order;
      });
      table.tBodies[0].append(...rows);
    }));
  });
})();
