(() => {
  "use strict";
  const look = JSON.parse(document.getElementById("chart-look").textContent);

  // Columns travel; the charts want rows.
  const rowsOf = (columns) => {
    const names = Object.keys(columns);
    return (columns[names[0]] || []).map((_, at) => Object.fromEntries(names.map((name) => [name, columns[name][at]])));
  };

  // A layer without rows has no extent, which the chart library warns of.
  const withRows = (spec) => ({ ...spec, layer: spec.layer.filter((layer) => spec.datasets[layer.data.name].length > 0) });

  const embed = (chart, spec) => vegaEmbed(
    chart.querySelector(".drawing"), withRows(spec), { mode: "vega-lite", renderer: "svg", actions: false, ast: true },
  ).then((result) => { chart.dataset.drawn = "yes"; return result; })
    .catch((error) => { chart.dataset.drawn = "failed"; console.error(error); });

  const specOf = (chart) => {
    const spec = JSON.parse(chart.querySelector("script").textContent);
    spec.config = look;
    return spec;
  };

  // On a telephone the room beside stacked traces would be half of them: the words of the marks go inside, the highest
  // above its line, the others below theirs.
  const narrowed = (spec, width) => {
    if (width >= 460) return spec;
    for (const layer of spec.layer) if (layer.mark.xOffset) layer.mark.xOffset = 0;
    const { side } = spec.datasets;
    if (!side) return spec;
    const top = side.y.indexOf(Math.max(...side.y));
    const part = (is) => Object.fromEntries(Object.entries(side).map(([name, values]) => [name, values.filter((_, at) => (at === top) === is)]));
    spec.datasets.side = part(true);
    spec.datasets.lower = part(false);
    const words = spec.layer.find((layer) => layer.data.name === "side");
    const within = (data, dy, look) => ({ ...words, data: { name: data }, mark: { ...words.mark, align: "right", dx: -4, dy, ...look } });
    const behind = { color: "var(--paper)", stroke: "var(--paper)", strokeWidth: 4 };
    const both = [["side", -8], ["lower", 9]].flatMap(([data, dy]) => [within(data, dy, behind), within(data, dy, {})]);
    spec.layer = [...spec.layer.filter((layer) => layer !== words), ...both];
    return spec;
  };

  const draw = (chart) => {
    if (chart.dataset.drawn || chart.clientWidth === 0) return;
    chart.dataset.drawn = "started";
    const stack = stacks.get(chart.closest(".traces"));
    if (stack) { stack.draw(chart); return; }
    const spec = specOf(chart);
    for (const name of Object.keys(spec.datasets)) spec.datasets[name] = rowsOf(spec.datasets[name]);
    embed(chart, spec);
  };

  // Of each column of pixels the lowest and the highest value stay, as measured; so no dump or spike is lost.
  const thinned = (columns, [start, end], pixels) => {
    const wanted = Math.max(Math.floor(pixels / 3), 1), kept = [];
    let column = -1, low = -1, high = -1, gap = -1;
    const flush = () => { for (const at of [...new Set([low, high, gap])].filter((at) => at >= 0).sort((a, b) => a - b)) kept.push(at); };
    columns.t.forEach((time, at) => {
      const last = columns.t2 ? columns.t2[at] : time;
      if (last < start || time > end) return;
      if (columns.t2) { kept.push(at); return; }
      const here = Math.floor((time - start) / (end - start) * wanted);
      if (here !== column) { flush(); column = here; low = high = gap = -1; }
      if (columns.y[at] === null) gap = at;
      else {
        if (low < 0 || columns.y[at] < columns.y[low]) low = at;
        if (high < 0 || columns.y[at] > columns.y[high]) high = at;
      }
    });
    flush();
    const cut = Object.fromEntries(Object.entries(columns).map(([name, values]) => [name, kept.map((at) => values[at])]));
    if (!columns.t2) for (const edge of [start, end]) {
      const after = columns.t.findIndex((time) => time >= edge);
      if (after < 1 || columns.t[after] === edge || columns.y[after] === null || columns.y[after - 1] === null) continue;
      const share = (edge - columns.t[after - 1]) / (columns.t[after] - columns.t[after - 1]);
      const put = edge === start ? "unshift" : "push";
      cut.t[put](edge);
      cut.y[put](columns.y[after - 1] + share * (columns.y[after] - columns.y[after - 1]));
    }
    if (cut.t2) { cut.t = cut.t.map((time) => Math.max(time, start)); cut.t2 = cut.t2.map((time) => Math.min(time, end)); }
    return cut;
  };

  const HOUR = 3600e3;
  const timeFormat = (span) => span < 2 * HOUR ? "%H:%M:%S" : span <= 36 * HOUR ? "%H:%M" : span <= 120 * HOUR ? "%a %-d %H:%M" : "%-d %b";

  // Traces over one time: a brush on the small chart, or the buttons, choose the part that the others show.
  const stackOf = (box) => {
    const whole = [Number(box.dataset.start), Number(box.dataset.end)];
    let span = whole, waiting = 0;
    const views = new Map();
    const drawPart = (chart) => {
      const spec = narrowed(specOf(chart), chart.clientWidth);
      for (const [name, columns] of Object.entries(spec.datasets)) {
        const part = name === "axes" ? { t: span, y: columns.y } : columns.t && columns.y ? thinned(columns, span, chart.clientWidth)
          : columns.t2 ? thinned(columns, span, chart.clientWidth) : columns;
        spec.datasets[name] = rowsOf(part);
      }
      spec.layer[0].encoding.x.axis.format = timeFormat(span[1] - span[0]);
      embed(chart, spec).then((result) => {
        if (views.has(chart)) views.get(chart).finalize();
        views.set(chart, result);
      });
    };
    const drawOverview = (chart) => {
      const spec = narrowed(specOf(chart), chart.clientWidth);
      for (const [name, columns] of Object.entries(spec.datasets)) spec.datasets[name] = rowsOf(name === "axes" ? columns : thinned(columns, whole, chart.clientWidth));
      embed(chart, spec).then((result) => result.view.addSignalListener("span", (_, chosen) => {
        const times = chosen.t;
        show(times && times[1] - times[0] > 60e3 ? times.map(Number) : whole);
      }));
    };
    const show = (wanted) => {
      span = [Math.max(wanted[0], whole[0]), Math.min(wanted[1], whole[1])];
      clearTimeout(waiting);
      waiting = setTimeout(() => {
        box.querySelectorAll(".chart.zoomed").forEach(drawPart);
        const say = (time) => new Date(time).toISOString().slice(0, 16).replace("T", " ");
        box.querySelector("[role=status]").textContent = `${say(span[0])} to ${say(span[1])}`;
      }, 120);
    };
    const moves = {
      closer: ([a, b]) => [a + (b - a) / 4, b - (b - a) / 4],
      wider: ([a, b]) => [a - (b - a) / 2, b + (b - a) / 2],
      earlier: ([a, b]) => { const by = Math.min((b - a) / 2, a - whole[0]); return [a - by, b - by]; },
      later: ([a, b]) => { const by = Math.min((b - a) / 2, whole[1] - b); return [a + by, b + by]; },
      whole: () => whole,
    };
    box.querySelectorAll("button[data-move]").forEach((button) => button.addEventListener("click", () => show(moves[button.dataset.move](span))));
    return { draw: (chart) => (chart.classList.contains("overview") ? drawOverview(chart) : drawPart(chart)) };
  };
  const stacks = new Map(Array.from(document.querySelectorAll(".traces")).map((box) => [box, stackOf(box)]));

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

  // On paper a link says where it leads by the number of its section; on the screen the numbers stay hidden.
  const numbers = new Map();
  document.querySelectorAll("main > section").forEach((section, at) => {
    const head = section.querySelector("h2");
    if (head) { head.dataset.number = at + 1; }
    numbers.set(section, String(at + 1));
    section.querySelectorAll(":scope > article[id], :scope > details[id]").forEach((part, within) => {
      const number = `${at + 1}.${within + 1}`;
      part.querySelector("h3, summary").dataset.number = number;
      numbers.set(part, number);
    });
  });
  document.querySelectorAll("main a[href^='#']").forEach((link) => {
    const number = numbers.get(document.getElementById(link.getAttribute("href").slice(1)));
    if (number) { link.dataset.section = number; }
  });

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
