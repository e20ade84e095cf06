// Draws a chart live when it comes into view, as wide as its place; the drawing below stays for paper.
const specs = JSON.parse(document.getElementById("charts").textContent);
const axis = 46, edge = 14;

const fitted = (spec, place) => {
  const copy = structuredClone(spec);
  const inner = Math.max(160, place - axis - edge);
  if (copy.vconcat) copy.vconcat.forEach((panel) => { panel.width = inner; });
  else copy.width = Math.max(200, place - edge);
  return copy;
};

const draw = async (figure) => {
  const spec = specs[figure.dataset.chart];
  const place = figure.querySelector(".live");
  const width = Math.floor(figure.querySelector(".plot").clientWidth);
  if (!spec || !width || Number(figure.dataset.drawn) === width) return;
  figure.dataset.drawn = String(width);
  try {
    await vegaEmbed(place, fitted(spec, width), { ast: true, actions: false, renderer: "svg", mode: "vega-lite" });
    figure.classList.add("drawn");
  } catch (error) {
    figure.classList.remove("drawn");
    console.error(figure.dataset.chart, error);
  }
};

const figures = [...document.querySelectorAll("figure[data-chart]")];
const seen = new IntersectionObserver((entries) => {
  entries.filter((entry) => entry.isIntersecting).forEach((entry) => {
    seen.unobserve(entry.target);
    draw(entry.target);
  });
}, { rootMargin: "400px" });
figures.forEach((figure) => seen.observe(figure));

let waiting = 0;
addEventListener("resize", () => {
  clearTimeout(waiting);
  waiting = setTimeout(() => figures.filter((figure) => figure.dataset.drawn).forEach(draw), 200);
});
