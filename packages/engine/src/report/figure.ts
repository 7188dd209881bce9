import { encodeBase64 } from './base64.ts';
import { cssColor, type Rgb } from './color-maps.ts';
import { encodePng } from './encode-png.ts';
import { escapeHtml } from './escape-html.ts';
import { formatLength } from './format-number.ts';
import type { Drawing } from './rasterize.ts';

/** What stands in the title block of a drawing. */
export interface TitleBlock {
  readonly job: string;
  readonly shows: string;
  readonly frame: string;
  readonly date: string;
  readonly evidence: string;
}

/** A drawing with scale bar, legend and title block, as one HTML figure. */
export function figureHtml(id: string, drawing: Drawing, title: TitleBlock, legend: string): string {
  const { width, height } = drawing.picture;
  const data = encodeBase64(encodePng(drawing.picture));
  const bar = scaleBar(drawing.mmPerPixel, width);
  return `<figure id="${escapeHtml(id)}"><svg viewBox="0 0 ${width} ${height + 34}" role="img" aria-label="${escapeHtml(title.shows)}"><image href="data:image/png;base64,${data}" width="${width}" height="${height}"/><rect x="0.5" y="0.5" width="${width - 1}" height="${height - 1}" class="frame-line"/>${bar.svg(height + 14)}</svg>${legend}<figcaption>${titleBlockHtml(title, `scale bar ${bar.text}`)}</figcaption></figure>`;
}

/** The title block that stands on every sheet: job, what is shown, frame, unit and scale, state of the evidence, date. */
export function titleBlockHtml(title: TitleBlock, scale: string): string {
  const cell = (head: string, text: string): string => `<td><b>${head}</b> ${escapeHtml(text)}</td>`;
  return `<table class="title-block"><tr>${cell('Job', title.job)}${cell('Shows', title.shows)}${cell('Frame', title.frame)}</tr><tr>${cell('Unit', `mm, ${scale}`)}${cell('Evidence', title.evidence)}${cell('Date', title.date)}</tr></table>`;
}

function scaleBar(mmPerPixel: number, width: number): { readonly text: string; readonly svg: (y: number) => string } {
  const wish = (mmPerPixel * width) / 4;
  const power = 10 ** Math.floor(Math.log10(wish));
  const lead = wish / power;
  const length = (lead >= 5 ? 5 : lead >= 2 ? 2 : 1) * power;
  const text = `${formatLength(length).replace(/\.0+$/, '')} mm`;
  const pixels = length / mmPerPixel;
  return {
    text,
    svg: (y) =>
      `<path d="M10 ${y} h${pixels.toFixed(2)} M10 ${y - 5} v10 M${(10 + pixels).toFixed(2)} ${y - 5} v10 M${(10 + pixels / 2).toFixed(2)} ${y - 3} v6" class="scale-bar"/><text x="${(16 + pixels).toFixed(1)}" y="${y + 4}" class="small">${escapeHtml(text)}</text>`,
  };
}

/** Legend of things told apart by colour and pattern. */
export function keyLegend(
  entries: readonly { readonly label: string; readonly color: Rgb; readonly pattern: string }[],
): string {
  const items = entries
    .map(
      (entry) =>
        `<li><span class="swatch" style="background-color:${cssColor(entry.color)}" data-pattern="${escapeHtml(entry.pattern)}"></span>${escapeHtml(entry.label)} <span class="small">(${escapeHtml(entry.pattern)})</span></li>`,
    )
    .join('');
  return `<ul class="key">${items}</ul>`;
}

/** Legend of a magnitude: one box for each band, round numbers at their edges, and in words what lies beyond or is not known. */
export function scaleLegend(
  title: string,
  bands: readonly Rgb[],
  ticks: readonly number[],
  unit: string,
  beyond: string,
): string {
  const boxes = bands.map((color) => `<span style="background:${cssColor(color)}"></span>`).join('');
  const marks = ticks
    .map(
      (tick, i) =>
        `<span style="left:${((100 * i) / (ticks.length - 1)).toFixed(2)}%">${escapeHtml(formatTick(tick))}</span>`,
    )
    .join('');
  return `<div class="scale"><div class="small">${escapeHtml(title)} [${escapeHtml(unit)}]</div><div class="scale-colors">${boxes}</div><div class="scale-ticks">${marks}</div><div class="small">${escapeHtml(beyond)}</div></div>`;
}

function formatTick(value: number): string {
  return value === 0 ? '0' : String(Number(value.toPrecision(3)));
}
