import { figureHtml, scaleLegend } from './figure.ts';
import { formatPercent, formatUncertainty } from './format-number.ts';
import { bandColor, CUT_VIEW, drawUncertainty, type MapScale, mapScale, REPORT_VIEWS } from './pictures.ts';
import type { ReportInput } from './report-input.ts';
import { titleBlock } from './title-block.ts';

/** Maps of the uncertainty on the fused surface, all parts together first, then the part of the ties. */
export function trustMaps(input: ReportInput): string {
  const { fused } = input;
  if (fused === null || fused.surface.triangles === null) return '';
  const total = figures(
    input,
    fused.expandedUncertainty,
    'uncertainty',
    'uncertainty, all parts',
    'U (k = 2), largest direction, all parts: ties, instrument, scale and temperature',
  );
  const ties = figures(
    input,
    fused.placementUncertainty,
    'placement',
    'uncertainty of the placement',
    'The part of U (k = 2) that comes from how the frames are tied: small near the ties, larger at the far end of the lever',
  );
  return `<h3 id="map">Uncertainty on the model</h3>${total}${ties}${partsTable(input)}`;
}

/** The same in numbers: nothing stands in a picture alone. */
function partsTable(input: ReportInput): string {
  const { fused } = input;
  if (fused === null) return '';
  const parts: [string, Float32Array | undefined][] = [
    ['all parts together', fused.expandedUncertainty],
    ['ties', fused.placementUncertainty],
    ['scale and temperature', fused.scaleUncertainty],
  ];
  const rows = parts.flatMap(([name, values]) => {
    if (values === undefined) return [];
    const known = values.filter((value) => Number.isFinite(value)).sort();
    if (known.length === 0) return [];
    const at = (share: number): string =>
      `${formatUncertainty(known[Math.min(known.length - 1, Math.floor(share * known.length))])} mm`;
    return [
      `<tr><td>${name}</td><td class="n">${at(0.5)}</td><td class="n">${at(0.95)}</td><td class="n">${at(1)}</td><td class="n">${formatPercent(1 - known.length / values.length)}</td></tr>`,
    ];
  });
  return `<div class="wide"><table class="data"><thead><tr><th>U (k = 2) on the surface from</th><th class="n">Half of it below</th><th class="n">95 % of it below</th><th class="n">Largest</th><th class="n">Not known</th></tr></thead><tbody>${rows.join('')}</tbody></table></div>`;
}

/** Two views of one map, on one scale. */
function figures(input: ReportInput, values: Float32Array, id: string, shows: string, title: string): string {
  const { fused } = input;
  if (fused === null) return '';
  const scale = mapScale(values);
  const legend = mapLegend(values, scale, title);
  const views = [REPORT_VIEWS[0], CUT_VIEW];
  const drawn = views.map((view, i) =>
    figureHtml(
      `${id}-${i + 1}`,
      drawUncertainty(fused, values, scale, view, 760),
      titleBlock(input, `${shows}, ${view.name}`),
      legend,
    ),
  );
  return `<div class="pair">${drawn.join('')}</div>`;
}

function mapLegend(values: Float32Array, scale: MapScale, title: string): string {
  const end = scale.step * scale.count;
  let unknown = 0;
  let beyond = 0;
  for (const u of values) {
    if (!Number.isFinite(u)) unknown++;
    else if (u > end) beyond++;
  }
  const share = (count: number): string => formatPercent(values.length === 0 ? 0 : count / values.length);
  const ticks = Array.from({ length: scale.count + 1 }, (_, i) => i * scale.step);
  return scaleLegend(
    title,
    Array.from({ length: scale.count }, (_, i) => bandColor(i, scale.count)),
    ticks,
    'mm',
    `Dark is small, light is large. Larger than the scale: ${share(beyond)} of the vertices. Grey with lines, not known: ${share(unknown)}.`,
  );
}
