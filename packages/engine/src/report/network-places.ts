import { symmetricEigen } from '../math/index.ts';
import type { AlignmentResult, FramePose } from '../model/index.ts';
import type { ReportFramePlace } from './report-input.ts';

/** Semi-axes (k = 2, mm) of the figure in plan, direction of the larger (rad from +X towards +Y), and U of the height. */
export interface ErrorFigure {
  readonly major: number;
  readonly minor: number;
  readonly direction: number;
  readonly height: number;
}

/** A frame on the drawing, pixels. */
export interface Station {
  readonly frame: string;
  readonly status: FramePose['status'];
  readonly x: number;
  readonly y: number;
  readonly figure: ErrorFigure | null;
  /** The far end: in plan at its place, else null; its figure is drawn about the station then. */
  readonly farEnd: { readonly x: number; readonly y: number } | null;
  readonly farFigure: ErrorFigure | null;
}

/** The laid-out network. */
export interface NetworkLayout {
  readonly stations: readonly Station[];
  readonly width: number;
  readonly height: number;
  /** Plan to scale: millimetres a pixel; null: arranged by the number of ties from the datum. */
  readonly mmPerPixel: number | null;
}

const WIDTH = 760;
const MARGIN = { side: 92, top: 66, bottom: 62 } as const;
/** Stations nearer to each other than this cover their names. */
const LEAST_GAP = 84;
const ROW = 108;
const COVERAGE = 2;

/**
 * Where the stations stand on paper: at their real places seen from above when those are apart, else in columns by how many
 * ties lie between a frame and the datum.
 */
export function layOutNetwork(alignment: AlignmentResult, places: readonly ReportFramePlace[]): NetworkLayout {
  return planLayout(alignment, places) ?? columnLayout(alignment, places);
}

/** Ellipse and height of a 3 x 3 covariance. */
export function errorFigure(covariance: readonly number[] | null): ErrorFigure | null {
  if (covariance === null) return null;
  const c = (i: number): number => covariance[i] as number;
  const eigen = symmetricEigen([c(0), c(1), c(3), c(4)], 2);
  const root = (v: number): number => COVERAGE * Math.sqrt(Math.max(0, v));
  return {
    major: root(eigen.values[1] as number),
    minor: root(eigen.values[0] as number),
    direction: Math.atan2(eigen.vectors[3] as number, eigen.vectors[1] as number),
    height: root(c(8)),
  };
}

function figuresOf(frame: FramePose, place: ReportFramePlace | undefined): Pick<Station, 'figure' | 'farFigure'> {
  if (place !== undefined)
    return { figure: errorFigure(place.middleCovariance), farFigure: errorFigure(place.farEndCovariance) };
  const c = frame.covariance;
  const own = c === null ? null : [0, 1, 2, 6, 7, 8, 12, 13, 14].map((i) => c[i] as number);
  return { figure: errorFigure(own), farFigure: null };
}

function planLayout(alignment: AlignmentResult, places: readonly ReportFramePlace[]): NetworkLayout | null {
  const at = new Map(places.map((p) => [p.frame, p]));
  const placed = alignment.frames.filter((f) => f.status !== 'refused');
  if (placed.length < 2 || placed.some((f) => !at.has(f.frame))) return null;
  const shown = placed.flatMap((f) => {
    const p = at.get(f.frame) as ReportFramePlace;
    return p.farEnd === null || p.farEndCovariance === null ? [p.middle] : [p.middle, p.farEnd];
  });
  const range = (k: 0 | 1): [number, number] => [
    Math.min(...shown.map((p) => p[k])),
    Math.max(...shown.map((p) => p[k])),
  ];
  const [[left, right], [low, high]] = [range(0), range(1)];
  const inner = WIDTH - 2 * MARGIN.side;
  const mmPerPixel = Math.max((right - left) / inner, (high - low) / 380);
  if (!(mmPerPixel > 0)) return null;
  const refused = alignment.frames.filter((f) => f.status === 'refused');
  const drawnHeight = (high - low) / mmPerPixel;
  const offset = MARGIN.side + (inner - (right - left) / mmPerPixel) / 2;
  const project = (p: readonly number[]): { x: number; y: number } => ({
    x: offset + ((p[0] as number) - left) / mmPerPixel,
    y: MARGIN.top + (high - (p[1] as number)) / mmPerPixel,
  });
  const stations = placed.map((frame): Station => {
    const place = at.get(frame.frame) as ReportFramePlace;
    const figures = figuresOf(frame, place);
    return {
      frame: frame.frame,
      status: frame.status,
      ...project(place.middle),
      ...figures,
      farEnd: place.farEnd === null || figures.farFigure === null ? null : project(place.farEnd),
    };
  });
  for (let i = 0; i < stations.length; i++)
    for (let j = 0; j < i; j++) {
      const [a, b] = [stations[i] as Station, stations[j] as Station];
      if (Math.abs(a.x - b.x) < LEAST_GAP && Math.abs(a.y - b.y) < LEAST_GAP / 3) return null;
    }
  const height = MARGIN.top + drawnHeight + MARGIN.bottom;
  return {
    stations: [...stations, ...refusedRow(refused, height)],
    width: WIDTH,
    height: height + (refused.length > 0 ? 56 : 0),
    mmPerPixel,
  };
}

function columnLayout(alignment: AlignmentResult, places: readonly ReportFramePlace[]): NetworkLayout {
  const at = new Map(places.map((p) => [p.frame, p]));
  const placed = alignment.frames.filter((f) => f.status !== 'refused');
  const refused = alignment.frames.filter((f) => f.status === 'refused');
  const columns = columnsFromDatum(alignment, placed);
  const rows = Math.max(1, ...columns.map((c) => c.length));
  const step = rows > 12 ? ROW / 2 : ROW;
  const height = MARGIN.top + Math.max(120, (rows - 1) * step) + MARGIN.bottom;
  const inner = WIDTH - 2 * MARGIN.side;
  const stations = columns.flatMap((column, c) =>
    column.map((frame, r): Station => {
      const middle = (height + MARGIN.top - MARGIN.bottom) / 2;
      return {
        frame: frame.frame,
        status: frame.status,
        x: columns.length === 1 ? WIDTH / 2 : MARGIN.side + (c * inner) / (columns.length - 1),
        y: middle + (r - (column.length - 1) / 2) * step,
        ...figuresOf(frame, at.get(frame.frame)),
        farEnd: null,
      };
    }),
  );
  return {
    stations: [...stations, ...refusedRow(refused, height)],
    width: WIDTH,
    height: height + (refused.length > 0 ? 56 : 0),
    mmPerPixel: null,
  };
}

/** Frames by the number of ties from the datum, each column in the order of what it hangs on. */
function columnsFromDatum(alignment: AlignmentResult, placed: readonly FramePose[]): FramePose[][] {
  const near = new Map<string, Set<string>>();
  for (const tie of alignment.ties) {
    if (tie.status !== 'used') continue;
    for (const [a, b] of [
      [tie.frameA, tie.frameB],
      [tie.frameB, tie.frameA],
    ] as const)
      near.set(a, (near.get(a) ?? new Set()).add(b));
  }
  const columns: FramePose[][] = [];
  const left = new Set(placed);
  let column = placed.filter((f) => f.status === 'fixed');
  if (column.length === 0) column = placed.slice(0, 1);
  while (column.length > 0) {
    columns.push(column);
    for (const f of column) left.delete(f);
    const before = column;
    column = [...left]
      .map((frame) => ({ frame, parent: before.findIndex((f) => near.get(f.frame)?.has(frame.frame)) }))
      .filter((f) => f.parent >= 0)
      .sort((a, b) => a.parent - b.parent)
      .map((f) => f.frame);
  }
  if (left.size > 0) columns.push([...left]);
  return columns;
}

/** Frames without a place, below the drawing. */
function refusedRow(refused: readonly FramePose[], top: number): Station[] {
  return refused.map((frame, i) => ({
    frame: frame.frame,
    status: frame.status,
    x: MARGIN.side + ((i + 0.5) * (WIDTH - 2 * MARGIN.side)) / refused.length,
    y: top + 12,
    figure: null,
    farFigure: null,
    farEnd: null,
  }));
}
