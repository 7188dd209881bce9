import { symmetricEigen } from '../math/index.ts';
import type { AlignmentResult, TieResult } from '../model/index.ts';
import { escapeHtml } from './escape-html.ts';
import { formatLength } from './format-number.ts';

interface Station {
  readonly frame: string;
  readonly x: number;
  readonly y: number;
  readonly refused: boolean;
  readonly fixed: boolean;
  /** Standard error ellipse in the drawing plane: semi-axes mm, direction of the larger, rad. */
  readonly ellipse: readonly [number, number, number] | null;
}

const WIDTH = 760;
const HEIGHT = 420;

/**
 * The net of frames and ties as a drawing, the way surveyors draw one: stations, lines, error figures.
 *
 * Stations stand in a ring by name order (frames overlap in space, so a plan would hide them); the error figure is the
 * horizontal 1-sigma ellipse of the frame's position in the job frame, exaggerated as the legend says. A line's width
 * follows the evidence of the tie; a dashed line is a tie that was not used.
 */
export function drawNetwork(alignment: AlignmentResult): string {
  const stations = placeStations(alignment);
  const at = new Map(stations.map((station) => [station.frame, station]));
  const largest = Math.max(...stations.map((s) => s.ellipse?.[0] ?? 0), 0);
  const exaggeration = largest > 0 ? roundDown(46 / largest) : 0;
  const parts: string[] = [];
  const pairs = groupTies(alignment.ties);
  for (const [, ties] of pairs) {
    const a = at.get(ties[0].frameA);
    const b = at.get(ties[0].frameB);
    if (a === undefined || b === undefined) continue;
    for (const [index, tie] of ties.entries()) parts.push(drawTie(tie, a, b, index - (ties.length - 1) / 2));
  }
  for (const station of stations) parts.push(drawStation(station, exaggeration));
  const note =
    exaggeration > 0
      ? `error figures 1 sigma, horizontal, drawn ${exaggeration.toLocaleString('en')} times larger than 1 px per mm`
      : 'no error figures: no uncertainty known';
  return `<svg viewBox="0 0 ${WIDTH} ${HEIGHT}" role="img" aria-label="Frames and ties" class="net">${parts.join('')}<text x="8" y="${HEIGHT - 8}" class="small">${escapeHtml(note)}</text></svg>`;
}

function groupTies(ties: readonly TieResult[]): Map<string, TieResult[]> {
  const pairs = new Map<string, TieResult[]>();
  for (const tie of ties) {
    if (tie.status === 'not-needed') continue;
    const key = [tie.frameA, tie.frameB].sort().join('\u0000');
    const list = pairs.get(key) ?? [];
    list.push(tie);
    pairs.set(key, list);
  }
  return pairs;
}

function placeStations(alignment: AlignmentResult): Station[] {
  const frames = alignment.frames;
  const count = frames.length;
  return frames.map((frame, index) => {
    const angle = -Math.PI / 2 + (2 * Math.PI * index) / Math.max(1, count);
    return {
      frame: frame.frame,
      x: WIDTH / 2 + (count > 1 ? (WIDTH / 2 - 130) * Math.cos(angle) : 0),
      y: HEIGHT / 2 + (count > 1 ? (HEIGHT / 2 - 70) * Math.sin(angle) : 0),
      refused: frame.status === 'refused',
      fixed: frame.status === 'fixed',
      ellipse: frame.covariance === null ? null : ellipseOf(frame.covariance),
    };
  });
}

function ellipseOf(covariance: readonly number[]): readonly [number, number, number] {
  const eigen = symmetricEigen([covariance[0], covariance[1], covariance[6], covariance[7]], 2);
  const direction = Math.atan2(eigen.vectors[3], eigen.vectors[1]);
  return [Math.sqrt(Math.max(0, eigen.values[1])), Math.sqrt(Math.max(0, eigen.values[0])), direction];
}

function roundDown(value: number): number {
  const power = 10 ** Math.floor(Math.log10(value));
  const lead = value / power;
  return (lead >= 5 ? 5 : lead >= 2 ? 2 : 1) * power;
}

function drawTie(tie: TieResult, a: Station, b: Station, lane: number): string {
  const dx = b.x - a.x;
  const dy = b.y - a.y;
  const length = Math.hypot(dx, dy) || 1;
  const shift: readonly [number, number] = [(-dy / length) * lane * 16, (dx / length) * lane * 16];
  const width = tie.status === 'used' ? Math.max(0.8, Math.min(7, 0.8 + 1.2 * Math.log10(1 + tie.count / 10))) : 1;
  const dash = tie.status === 'used' ? '' : ' stroke-dasharray="5 4"';
  const mark = tie.status === 'used' ? '' : ' not used';
  const text =
    tie.kind === 'overlap'
      ? `overlap${tie.overlapShare === null ? '' : ` ${(100 * tie.overlapShare).toFixed(0)} %`}`
      : `${tie.count} ${tie.kind === 'targets' ? 'targets' : 'picked pairs'}`;
  // Labels of parallel ties stand one below the other, whatever the slope of the lines.
  const x = (a.x + b.x) / 2 + shift[0];
  const y = (a.y + b.y) / 2 + lane * 22;
  const label = `${text}, ${formatLength(tie.rms)} mm rms${mark}`;
  return (
    `<line x1="${num(a.x + shift[0])}" y1="${num(a.y + shift[1])}" x2="${num(b.x + shift[0])}" y2="${num(b.y + shift[1])}" class="tie" stroke-width="${num(width)}"${dash}><title>${escapeHtml(tie.id)}</title></line>` +
    `<text x="${num(x)}" y="${num(y - 4)}" class="small halo" text-anchor="middle">${escapeHtml(label)}</text>`
  );
}

function drawStation(station: Station, exaggeration: number): string {
  const parts: string[] = [];
  if (station.ellipse !== null && exaggeration > 0) {
    const [major, minor, direction] = station.ellipse;
    parts.push(
      `<ellipse cx="${num(station.x)}" cy="${num(station.y)}" rx="${num(Math.max(0.5, major * exaggeration))}" ry="${num(Math.max(0.5, minor * exaggeration))}" transform="rotate(${num((-direction * 180) / Math.PI)} ${num(station.x)} ${num(station.y)})" class="error-figure"/>`,
    );
  }
  const [x, y] = [station.x, station.y];
  parts.push(
    station.fixed
      ? `<path d="M${num(x)} ${num(y - 8)} L${num(x + 8)} ${num(y + 6)} L${num(x - 8)} ${num(y + 6)} Z" class="station fixed"/>`
      : `<circle cx="${num(x)}" cy="${num(y)}" r="6" class="station${station.refused ? ' refused' : ''}"/>`,
  );
  const state = station.fixed ? ' (job frame)' : station.refused ? ' (refused)' : '';
  const below = y > HEIGHT / 2;
  parts.push(
    `<text x="${num(x)}" y="${num(below ? y + 26 : y - 16)}" text-anchor="middle" class="halo name">${escapeHtml(station.frame + state)}</text>`,
  );
  return parts.join('');
}

function num(value: number): string {
  return (Math.round(value * 100) / 100).toString();
}
