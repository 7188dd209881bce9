import type { AlignmentResult, TieResult } from '../model/index.ts';
import { escapeHtml } from './escape-html.ts';
import { type TitleBlock, titleBlockHtml } from './figure.ts';
import { formatUncertainty } from './format-number.ts';
import { type ErrorFigure, layOutNetwork, type NetworkLayout, type Station } from './network-places.ts';
import type { ReportTrust } from './report-input.ts';

/** How a line is drawn: what the evidence says of the tie, never by colour alone. */
type LineStyle = 'sound' | 'unchecked' | 'doubtful' | 'unused';

/** Pixels of the largest error figure. */
const FIGURE_SIZE = 40;
const WIDEST = 6.5;
const THINNEST = 1.2;

/**
 * The net of frames and ties as surveyors draw one: stations, lines, error figures at a stated exaggeration.
 *
 * Lines are numbered as in the table of ties; the firmer two frames hang together at a tie, the wider its line. Everything
 * that the drawing says stands in the text beside it and in the tables.
 */
export function networkFigure(
  alignment: AlignmentResult,
  trust: ReportTrust | undefined,
  ties: readonly TieResult[],
  title: TitleBlock,
): string {
  const layout = layOutNetwork(alignment, trust?.framePlaces ?? []);
  const largest = Math.max(
    0,
    ...layout.stations.flatMap((s) => [s.figure, s.farFigure].flatMap((f) => (f === null ? [] : [f.major, f.height]))),
  );
  const pixelsPerMm = largest > 0 ? roundDown(FIGURE_SIZE / largest) : 0;
  const at = new Map(layout.stations.map((s) => [s.frame, s]));
  const widths = lineWidths(ties, trust);
  const lines: string[] = [];
  const labels: string[] = [];
  const taken: (readonly [number, number])[] = layout.stations.map((s) => [s.x, s.y]);
  const withWords = ties.length <= 14 && leastGap(layout.stations) > 120;
  for (const group of groupTies(ties)) {
    const [a, b] = [at.get(group[0]?.frameA ?? ''), at.get(group[0]?.frameB ?? '')];
    if (a === undefined || b === undefined) continue;
    const [from, to] = a.x < b.x || (a.x === b.x && a.y < b.y) ? [a, b] : [b, a];
    group.forEach((tie, i) => {
      const curve = curveBetween(from, to, i - (group.length - 1) / 2);
      lines.push(drawLine(tie, ties.indexOf(tie) + 1, curve, widths));
      labels.push(drawNumber(tie, ties.indexOf(tie) + 1, freePlace(curve, taken), withWords));
    });
  }
  const { width } = layout;
  const height = layout.height + 40;
  const bars = scaleBars(layout, pixelsPerMm, largest);
  const shown = layout.stations.filter((s) => s.status !== 'refused').length;
  const summary = `${shown} frames as stations, ${ties.length} ties as lines`;
  return (
    `<figure id="network"><svg viewBox="0 0 ${width} ${height}" role="img" aria-label="Network of frames and ties: ${summary}" class="net">` +
    `<rect x="0.5" y="0.5" width="${width - 1}" height="${height - 1}" class="frame-line"/>` +
    lines.join('') +
    layout.stations.map((s) => drawFigures(s, pixelsPerMm)).join('') +
    labels.join('') +
    layout.stations.map((s) => drawStation(s)).join('') +
    bars.svg +
    (layout.mmPerPixel === null ? '' : northArrow(width)) +
    `</svg>${lineKey(widths)}<figcaption>${titleBlockHtml(title, bars.text)}</figcaption></figure>`
  );
}

/** What the evidence says of a tie decides its line. */
export function lineStyle(tie: TieResult): LineStyle {
  if (tie.status !== 'used') return 'unused';
  const verdict = tie.test?.verdict ?? 'not-checked';
  if (verdict === 'stands-out' || verdict === 'cannot-tell') return 'doubtful';
  return verdict === 'agrees' ? 'sound' : 'unchecked';
}

interface LineWidths {
  readonly of: (tie: TieResult) => number;
  /** Smallest and largest U between two frames at their tie, mm; null: widths say nothing. */
  readonly range: readonly [number, number] | null;
}

/** Widths on a logarithmic scale between the loosest and the firmest tie. */
function lineWidths(ties: readonly TieResult[], trust: ReportTrust | undefined): LineWidths {
  const hold = new Map(trust?.tiePlaces.map((p) => [p.tie, p.hold]) ?? []);
  const known = ties.flatMap((tie) => {
    const value = hold.get(tie.id) ?? null;
    return value === null || !(value > 0) || tie.status !== 'used' ? [] : [value];
  });
  if (known.length === 0) return { of: () => 2, range: null };
  const [least, most] = [Math.min(...known), Math.max(...known)];
  return {
    range: [least, most],
    of: (tie) => {
      const value = hold.get(tie.id) ?? null;
      if (value === null || !(value > 0)) return THINNEST;
      // Alike within a tenth: no difference to show.
      const share = most > 1.1 * least ? Math.log(most / value) / Math.log(most / least) : 0.5;
      return THINNEST + (WIDEST - THINNEST) * Math.max(0, Math.min(1, share));
    },
  };
}

function groupTies(ties: readonly TieResult[]): TieResult[][] {
  const pairs = new Map<string, TieResult[]>();
  for (const tie of ties) {
    const key = [tie.frameA, tie.frameB].sort().join('\u0000');
    pairs.set(key, [...(pairs.get(key) ?? []), tie]);
  }
  return [...pairs.values()];
}

function roundDown(value: number): number {
  const power = 10 ** Math.floor(Math.log10(value));
  const lead = value / power;
  return (lead >= 5 ? 5 : lead >= 2 ? 2 : 1) * power;
}

const KIND_WORDS: Readonly<Record<TieResult['kind'], string>> = {
  overlap: 'overlap',
  targets: 'targets',
  picked: 'picked points',
};

/** A quadratic curve: ends and control point, pixels. */
interface Curve {
  readonly path: string;
  readonly at: (share: number) => readonly [number, number];
}

/** Ties between the same two stations bow apart, lane by lane. */
function curveBetween(a: Station, b: Station, lane: number): Curve {
  const [dx, dy] = [b.x - a.x, b.y - a.y];
  const length = Math.hypot(dx, dy) || 1;
  const bow = 88 * lane;
  const [cx, cy] = [(a.x + b.x) / 2 - (dy / length) * bow, (a.y + b.y) / 2 + (dx / length) * bow];
  return {
    path: `M${num(a.x)} ${num(a.y)} Q${num(cx)} ${num(cy)} ${num(b.x)} ${num(b.y)}`,
    at: (t) => {
      const [u, v, w] = [(1 - t) * (1 - t), 2 * t * (1 - t), t * t];
      return [u * a.x + v * cx + w * b.x, u * a.y + v * cy + w * b.y];
    },
  };
}

/** Where a number stands on its line without covering another: the middle first, then to either side. */
function freePlace(curve: Curve, taken: (readonly [number, number])[]): readonly [number, number] {
  const shares = [0.5, 0.4, 0.6, 0.32, 0.68, 0.25, 0.75];
  const isFree = ([x, y]: readonly [number, number]): boolean =>
    taken.every(([p, q]) => Math.abs(p - x) > 40 || Math.abs(q - y) > 46);
  const place = shares.map(curve.at).find(isFree) ?? curve.at(0.5);
  taken.push(place);
  return place;
}

function leastGap(stations: readonly Station[]): number {
  let least = Number.POSITIVE_INFINITY;
  for (let i = 0; i < stations.length; i++)
    for (let j = 0; j < i; j++) {
      const [a, b] = [stations[i] as Station, stations[j] as Station];
      least = Math.min(least, Math.hypot(a.x - b.x, a.y - b.y));
    }
  return least;
}

function drawLine(tie: TieResult, number: number, curve: Curve, widths: LineWidths): string {
  const style = lineStyle(tie);
  const width = style === 'unused' ? 1 : widths.of(tie);
  const title = escapeHtml(`${number}: ${tie.frameA} – ${tie.frameB}, ${KIND_WORDS[tie.kind]}`);
  const dash = style === 'doubtful' ? ` stroke-dasharray="${num(7 + width)} ${num(5 + width / 2)}"` : '';
  return `<g>${strokes(curve.path, style, width, dash)}<title>${title}</title></g>`;
}

function drawNumber(tie: TieResult, number: number, [x, y]: readonly [number, number], withWords: boolean): string {
  const style = lineStyle(tie);
  const kind = KIND_WORDS[tie.kind] + (style === 'unused' ? ', not used' : '');
  const words = withWords
    ? `<text x="${num(x)}" y="${num(y + 25)}" class="small halo" text-anchor="middle">${escapeHtml(kind)}</text>`
    : '';
  const mark = tie.test?.verdict === 'cannot-tell' ? '?' : style === 'doubtful' ? '!' : '';
  return (
    `<a href="#tie-${escapeHtml(tie.id)}"><circle cx="${num(x)}" cy="${num(y)}" r="11" class="number ${style}"/>` +
    `<text x="${num(x)}" y="${num(y + 4.5)}" text-anchor="middle" class="number">${number}${mark}</text></a>${words}`
  );
}

/** A line; hollow where nothing checks it. */
function strokes(path: string, style: LineStyle, width: number, dash = ''): string {
  if (style !== 'unchecked') return `<path d="${path}" class="tie ${style}" stroke-width="${num(width)}"${dash}/>`;
  const outer = Math.max(3, width);
  return `<path d="${path}" class="tie" stroke-width="${num(outer)}"/><path d="${path}" class="tie hollow" stroke-width="${num(outer - 1.8)}"/>`;
}

function ellipse(figure: ErrorFigure, x: number, y: number, pixelsPerMm: number, kind: string): string {
  const [rx, ry] = [figure.major * pixelsPerMm, figure.minor * pixelsPerMm].map((r) => num(Math.max(0.6, r)));
  const turn = num((-figure.direction * 180) / Math.PI);
  return `<ellipse cx="${num(x)}" cy="${num(y)}" rx="${rx}" ry="${ry}" transform="rotate(${turn} ${num(x)} ${num(y)})" class="error-figure ${kind}"/>`;
}

/** Error figures of the middle and of the far end, and upright bars for the height. */
function drawFigures(s: Station, pixelsPerMm: number): string {
  if (pixelsPerMm === 0) return '';
  const parts: string[] = [];
  const bar = (figure: ErrorFigure, x: number, y: number, kind: string): void => {
    const half = figure.height * pixelsPerMm;
    if (half < 0.5) return;
    parts.push(
      `<path d="M${num(x)} ${num(y - half)} V${num(y + half)} M${num(x - 4)} ${num(y - half)} h8 M${num(x - 4)} ${num(y + half)} h8" class="error-figure ${kind}"/>`,
    );
  };
  if (s.figure !== null) parts.push(ellipse(s.figure, s.x, s.y, pixelsPerMm, 'middle'));
  if (s.farFigure !== null) {
    const place = s.farEnd ?? s;
    if (s.farEnd !== null)
      parts.push(`<path d="M${num(s.x)} ${num(s.y)} L${num(place.x)} ${num(place.y)}" class="lever"/>`);
    parts.push(ellipse(s.farFigure, place.x, place.y, pixelsPerMm, 'far'));
    const reach = Math.max(s.farFigure.major, s.figure?.major ?? 0) * pixelsPerMm;
    bar(s.farFigure, place.x + Math.max(16, reach + 9), place.y, 'far');
  } else if (s.figure !== null) bar(s.figure, s.x + Math.max(16, s.figure.major * pixelsPerMm + 9), s.y, 'middle');
  return parts.join('');
}

function drawStation(s: Station): string {
  const [x, y] = [num(s.x), num(s.y)];
  const mark =
    s.status === 'fixed'
      ? `<path d="M${x} ${num(s.y - 10)} L${num(s.x + 9)} ${num(s.y + 6)} L${num(s.x - 9)} ${num(s.y + 6)} Z" class="station fixed"/>`
      : s.status === 'refused'
        ? `<rect x="${num(s.x - 6)}" y="${num(s.y - 6)}" width="12" height="12" class="station refused"/>`
        : `<circle cx="${x}" cy="${y}" r="6.5" class="station"/><circle cx="${x}" cy="${y}" r="1.4" class="station fixed"/>`;
  const state = s.status === 'fixed' ? ' (datum)' : s.status === 'refused' ? ' (not placed)' : '';
  return `${mark}<text x="${x}" y="${num(s.y - 20)}" text-anchor="middle" class="halo name">${escapeHtml(s.frame + state)}</text>`;
}

/** The scale of the plan and that of the errors, side by side. */
function scaleBars(
  layout: NetworkLayout,
  pixelsPerMm: number,
  largest: number,
): { readonly svg: string; readonly text: string } {
  const y = layout.height + 18;
  const parts: string[] = [];
  const texts: string[] = [];
  const draw = (x: number, pixels: number, text: string, kind: string): void => {
    parts.push(
      `<path d="M${x} ${y} h${num(pixels)} M${x} ${y - 5} v10 M${num(x + pixels)} ${y - 5} v10" class="scale-bar ${kind}"/><text x="${num(x + pixels + 8)}" y="${y + 4}" class="small">${escapeHtml(text)}</text>`,
    );
    texts.push(text);
  };
  if (layout.mmPerPixel !== null) {
    const length = roundDown(layout.mmPerPixel * 150);
    draw(14, length / layout.mmPerPixel, `${trimmed(length)} mm of the plan`, '');
  } else {
    parts.push(`<text x="14" y="${y + 4}" class="small">Stations arranged, not to scale</text>`);
    texts.push('stations arranged, not to scale');
  }
  if (pixelsPerMm > 0) {
    const error = roundDown(largest);
    draw(380, error * pixelsPerMm, `${trimmed(error)} mm of error (k = 2)`, 'error');
    if (layout.mmPerPixel !== null)
      texts.push(`errors drawn ${trimmed(Number((pixelsPerMm * layout.mmPerPixel).toPrecision(2)))} times too large`);
  } else texts.push('no error figures: no uncertainty known');
  return { svg: parts.join(''), text: texts.join('; ') };
}

function northArrow(width: number): string {
  const [x, y] = [width - 40, 52];
  return `<path d="M${x - 18} ${y} h28 M${x + 6} ${y - 4} l5 4 l-5 4 M${x - 18} ${y} v-28 M${x - 22} ${y - 23} l4 -5 l4 5" class="scale-bar"/><text x="${x + 14}" y="${y + 4}" class="small">X</text><text x="${x - 22}" y="${y - 32}" class="small">Y</text>`;
}

/** What lines and figures mean, with samples. */
function lineKey(widths: LineWidths): string {
  const sample = (inner: string): string => `<svg viewBox="0 0 44 16" class="sample" aria-hidden="true">${inner}</svg>`;
  const line = (style: LineStyle, width: number, dash = ''): string => sample(strokes('M2 8 H42', style, width, dash));
  const items = [
    `${line('sound', 4)}tie, agrees with the others`,
    `${line('unchecked', 4)}nothing checks it (hollow line)`,
    `${line('doubtful', 3, ' stroke-dasharray="9 6"')}doubtful: dashed, ! stands out, ? cannot tell which`,
    `${line('unused', 1)}not used`,
    `${sample('<ellipse cx="22" cy="8" rx="14" ry="5" class="error-figure middle"/>')}error figure of the frame's middle, from above`,
    `${sample('<ellipse cx="14" cy="8" rx="11" ry="6" class="error-figure far"/><path d="M34 2 V14 M30 2 h8 M30 14 h8" class="error-figure far"/>')}of its far end; upright bar: height`,
  ];
  const range =
    widths.range === null
      ? ''
      : `<p class="small">Width of a line: how firmly its two frames hang together there, by the whole network; widest U = ${formatUncertainty(widths.range[0])} mm, thinnest U = ${formatUncertainty(widths.range[1])} mm (k = 2). Numbers are those of the table of ties.</p>`;
  return `<ul class="key net-key">${items.map((item) => `<li>${item}</li>`).join('')}</ul>${range}`;
}

function trimmed(value: number): string {
  return String(Number(value.toPrecision(3)));
}

function num(value: number): string {
  return (Math.round(value * 100) / 100).toString();
}
