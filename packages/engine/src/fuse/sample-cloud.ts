import { buildPointIndex } from '../geometry/index.ts';
import { SampleSink } from './fusion-samples.ts';

const NEIGHBOURS = 10;
/** Samples a point gives where points are not dense against the resolution, spread over a disc this much wider than the
 *  point's share: points that fall at random leave gaps, and a gap between points is no hole. */
const LEAST_PIECES = 4;
const SPREAD = 1.8;
/** Share of a point, in squared resolutions, below which it counts as dense. */
const DENSE = 0.4;
/** A point lies at a border when the mean of its neighbours is off by more than this share of their reach (half a disc: 0.42). */
const BORDER_OFFSET = 0.36;

/**
 * Samples a cloud so that the surface between its points is covered at the resolution.
 *
 * Method   every point stands for the share of the surface that its tenth neighbour tells, and is spread over a disc in its
 *          tangent plane. Border points are those whose neighbours lie to
 *          one side.
 *
 * @param positions float64 xyz in the plan's frame, finite
 * @param normals unit, oriented outwards; 0 0 0 where unknown (point left out)
 */
export function sampleCloud(
  positions: Float64Array,
  normals: Float32Array,
  colors: Uint8Array | null,
  resolution: number,
  featherWidth: number,
): SampleSink {
  const count = positions.length / 3;
  const sink = new SampleSink(count, colors !== null);
  if (count < NEIGHBOURS + 1) return sink;
  const single = Float32Array.from(positions);
  const index = buildPointIndex(single);
  const k = NEIGHBOURS + 1;
  const neighbours = new Int32Array(k * count);
  const squares = new Float32Array(k * count);
  index.kNearest(single, k, neighbours, squares);
  index.dispose();
  const borders = cloudBorders(positions, single, neighbours, squares, featherWidth);
  // A neighbour twelve spacings away means a lone point, not a piece of surface.
  const largest = 36 * middle(squares, k);
  for (let i = 0; i < count; i++) {
    const square = squares[k * i + k - 1];
    const nx = normals[3 * i];
    const ny = normals[3 * i + 1];
    const nz = normals[3 * i + 2];
    if (!(square > 0 && square <= largest) || nx * nx + ny * ny + nz * nz < 0.5) continue;
    const share = (Math.PI * square) / NEIGHBOURS;
    const wanted = share / (resolution * resolution);
    const pieces = wanted < DENSE ? 1 : Math.max(LEAST_PIECES, Math.ceil(wanted / 0.8));
    addDisc(sink, positions, i, [nx, ny, nz], share, pieces, borders[i], colors);
  }
  return sink;
}

function addDisc(
  sink: SampleSink,
  positions: Float64Array,
  i: number,
  normal: readonly [number, number, number],
  share: number,
  pieces: number,
  border: number,
  colors: Uint8Array | null,
): void {
  const [nx, ny, nz] = normal;
  const radius = pieces === 1 ? 0 : SPREAD * Math.sqrt(share / Math.PI);
  // Any two directions across the normal will do; this choice has no division near zero (Duff et al. 2017).
  const sign = nz >= 0 ? 1 : -1;
  const a = -1 / (sign + nz);
  const b = nx * ny * a;
  const ux = 1 + sign * nx * nx * a;
  const uy = sign * b;
  const uz = -sign * nx;
  const vx = b;
  const vy = sign + ny * ny * a;
  const vz = -ny;
  for (let piece = 0; piece < pieces; piece++) {
    // Sunflower pattern: equal shares of the disc.
    const reach = radius * Math.sqrt((piece + 0.5) / pieces);
    const angle = piece * 2.399963229728653;
    const u = reach * Math.cos(angle);
    const v = reach * Math.sin(angle);
    const at = sink.add(
      positions[3 * i] + u * ux + v * vx,
      positions[3 * i + 1] + u * uy + v * vy,
      positions[3 * i + 2] + u * uz + v * vz,
      nx,
      ny,
      nz,
      share / pieces,
      border,
    );
    if (colors) sink.setColor(at, colors[3 * i], colors[3 * i + 1], colors[3 * i + 2]);
  }
}

function cloudBorders(
  positions: Float64Array,
  single: Float32Array,
  neighbours: Int32Array,
  squares: Float32Array,
  cap: number,
): Float32Array {
  const k = NEIGHBOURS + 1;
  const count = positions.length / 3;
  const borders = new Float32Array(count).fill(cap);
  const atBorder: number[] = [];
  for (let i = 0; i < count; i++) {
    const reach = Math.sqrt(squares[k * i + k - 1]);
    let x = 0;
    let y = 0;
    let z = 0;
    let found = 0;
    for (let n = 0; n < k; n++) {
      const j = neighbours[k * i + n];
      if (j < 0) continue;
      x += positions[3 * j] - positions[3 * i];
      y += positions[3 * j + 1] - positions[3 * i + 1];
      z += positions[3 * j + 2] - positions[3 * i + 2];
      found++;
    }
    if (found < k || Math.sqrt(x * x + y * y + z * z) / found > BORDER_OFFSET * reach) {
      atBorder.push(single[3 * i], single[3 * i + 1], single[3 * i + 2]);
    }
  }
  if (atBorder.length === 0) return borders;
  const index = buildPointIndex(Float32Array.from(atBorder));
  const nearest = new Int32Array(count);
  const nearestSquares = new Float32Array(count);
  index.nearest(single, cap, nearest, nearestSquares);
  index.dispose();
  for (let i = 0; i < count; i++) if (nearest[i] >= 0) borders[i] = Math.min(cap, Math.sqrt(nearestSquares[i]));
  return borders;
}

function middle(squares: Float32Array, k: number): number {
  const last = new Float32Array(squares.length / k);
  for (let i = 0; i < last.length; i++) last[i] = squares[k * i + k - 1];
  last.sort();
  return last[last.length >> 1];
}
