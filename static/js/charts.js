// Draws each .chart-canvas from the figure its data-figure address answers with. Ink and paper come from the page's
// own colours, so that a chart follows the dark scheme.

const config = {
  plotlyServerURL: "",
  modeBarButtonsToRemove: ["sendChartToCloud", "lasso2d", "select2d", "autoScale2d"],
  displaylogo: false,
  responsive: true,
  displayModeBar: false,
  scrollZoom: false,
};

function ink() {
  const style = getComputedStyle(document.documentElement);
  const read = (name) => style.getPropertyValue(name).trim();
  const axis = { gridcolor: read("--hairline"), linecolor: read("--edge"), tickcolor: read("--edge") };
  return {
    layout: {
      paper_bgcolor: "rgba(0,0,0,0)",
      plot_bgcolor: "rgba(0,0,0,0)",
      font: { family: read("--font"), size: 14, color: read("--ink") },
      xaxis: axis,
      yaxis: axis,
      hoverlabel: { bgcolor: read("--paper"), bordercolor: read("--ink"), font: { color: read("--ink") } },
    },
  };
}

async function draw(canvas) {
  try {
    const answer = await fetch(canvas.dataset.figure, { headers: { Accept: "application/json" } });
    if (!answer.ok) throw new Error(String(answer.status));
    const figure = await answer.json();
    await window.Plotly.newPlot(canvas, figure.data, { ...figure.layout, template: ink() }, config);
    canvas.dataset.drawn = "yes";
  } catch {
    // The table under the chart has the same numbers.
    canvas.closest(".chart").querySelector("details")?.setAttribute("open", "");
    canvas.remove();
  }
}

const canvases = [...document.querySelectorAll("[data-figure]")];
canvases.forEach(draw);
window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
  document.querySelectorAll("[data-drawn]").forEach((canvas) => {
    window.Plotly.relayout(canvas, { template: ink() });
  });
});
