import type { Viewpoint } from '../model/index.ts';
import type { PreparedScan } from './prepared-scan.ts';

/**
 * What an instrument saw: for every direction it looked along, how near the nearest surface is. Everything nearer is empty.
 *
 * Layout   square pixels of `pixel` mm at the middle distance; `height` is larger towards the instrument (distance along a
 *          viewing direction, or minus the range from a standpoint); -Infinity where nothing was seen.
 */
export interface FreeSpaceMap {
  readonly kind: Viewpoint['kind'];
  readonly eye: readonly [number, number, number];
  readonly axes: Float64Array;
  readonly pixel: number;
  readonly width: number;
  readonly tall: number;
  readonly left: number;
  readonly low: number;
  readonly scale: number;
  readonly height: Float32Array;
  /** Share of the points that lie clearly behind others: near zero when the viewpoint is right. */
  readonly hiddenShare: number;
}

const MAX_PIXELS = 4_000_000;

/** Image axes across a viewing direction, turned to the direction in which the scan is longest. */
function makeAxes(scan: PreparedScan, forward: readonly number[]): Float64Array {
  const { positions, centroid } = scan;
  const start = Math.abs(forward[0]) < 0.6 ? [1, 0, 0] : [0, 1, 0];
  const inner = start[0] * forward[0] + start[1] * forward[1];
  let u = [start[0] - inner * forward[0], start[1] - inner * forward[1], -inner * forward[2]];
  let length = Math.hypot(u[0], u[1], u[2]);
  u = u.map((c) => c / length);
  let v = [
    forward[1] * u[2] - forward[2] * u[1],
    forward[2] * u[0] - forward[0] * u[2],
    forward[0] * u[1] - forward[1] * u[0],
  ];
  let uu = 0;
  let uv = 0;
  let vv = 0;
  for (let i = 0; i < positions.length; i += 3) {
    const x = positions[i] - centroid[0];
    const y = positions[i + 1] - centroid[1];
    const z = positions[i + 2] - centroid[2];
    const a = x * u[0] + y * u[1] + z * u[2];
    const b = x * v[0] + y * v[1] + z * v[2];
    uu += a * a;
    uv += a * b;
    vv += b * b;
  }
  const angle = 0.5 * Math.atan2(2 * uv, uu - vv);
  const c = Math.cos(angle);
  const s = Math.sin(angle);
  u = u.map((value, k) => c * value + s * v[k]);
  length = Math.hypot(u[0], u[1], u[2]);
  u = u.map((value) => value / length);
  v = [
    forward[1] * u[2] - forward[2] * u[1],
    forward[2] * u[0] - forward[0] * u[2],
    forward[0] * u[1] - forward[1] * u[0],
  ];
  return Float64Array.of(u[0], u[1], u[2], v[0], v[1], v[2], forward[0], forward[1], forward[2]);
}

/** Writes image column, row (in pixels, not rounded) and height of a point; false when it lies outside the field. */
function project(
  map: Omit<FreeSpaceMap, 'height' | 'hiddenShare'>,
  x: number,
  y: number,
  z: number,
  out: Float64Array,
): boolean {
  const { axes, eye } = map;
  const qx = x - eye[0];
  const qy = y - eye[1];
  const qz = z - eye[2];
  const a = qx * axes[0] + qy * axes[1] + qz * axes[2];
  const b = qx * axes[3] + qy * axes[4] + qz * axes[5];
  const depth = qx * axes[6] + qy * axes[7] + qz * axes[8];
  if (map.kind === 'direction') {
    out[0] = (a - map.left) / map.pixel;
    out[1] = (b - map.low) / map.pixel;
    out[2] = -depth;
    return true;
  }
  const range = Math.sqrt(qx * qx + qy * qy + qz * qz);
  // Beyond 65 degrees off the axis a flat image stretches too much.
  if (!(depth > 0.42 * range)) return false;
  out[0] = ((a / depth) * map.scale - map.left) / map.pixel;
  out[1] = ((b / depth) * map.scale - map.low) / map.pixel;
  out[2] = -range;
  return true;
}

/**
 * Draws what the instrument saw of a scan.
 *
 * Frames   viewpoint and scan: the true frame of the scan; the map works in coordinates relative to `scan.origin`.
 * Method   depth image; each pixel holds the surface nearest to the instrument among its own and its eight neighbours, so that
 *          only points in front of all of them count as contradictions.
 *
 * @param pixel mm at the middle distance; about twice the spacing of the points, so that no point is seen through a gap
 */
export function buildFreeSpaceMap(scan: PreparedScan, viewpoint: Viewpoint, pixel: number): FreeSpaceMap {
  const { positions, centroid, origin } = scan;
  let forward: number[];
  let eye: [number, number, number];
  if (viewpoint.kind === 'direction') {
    forward = viewpoint.direction.map((c) => -c);
    eye = [centroid[0], centroid[1], centroid[2]];
  } else {
    const { position } = viewpoint;
    eye = [position[0] - origin[0], position[1] - origin[1], position[2] - origin[2]];
    forward = [centroid[0] - eye[0], centroid[1] - eye[1], centroid[2] - eye[2]];
  }
  const reach = Math.hypot(forward[0], forward[1], forward[2]);
  forward = reach > 0 ? forward.map((c) => c / reach) : [0, 0, -1];
  const axes = makeAxes(scan, forward);
  const frame = {
    kind: viewpoint.kind,
    eye,
    axes,
    pixel: 1,
    width: 0,
    tall: 0,
    left: 0,
    low: 0,
    scale: viewpoint.kind === 'direction' ? 1 : reach,
  };
  const at = new Float64Array(3);
  const box = [Infinity, -Infinity, Infinity, -Infinity];
  for (let i = 0; i < positions.length; i += 3) {
    if (!project(frame, positions[i], positions[i + 1], positions[i + 2], at)) continue;
    box[0] = Math.min(box[0], at[0]);
    box[1] = Math.max(box[1], at[0]);
    box[2] = Math.min(box[2], at[1]);
    box[3] = Math.max(box[3], at[1]);
  }
  const empty = !(box[0] <= box[1]);
  const area = empty ? 0 : (box[1] - box[0]) * (box[3] - box[2]);
  const side = Math.max(pixel, Math.sqrt(area / MAX_PIXELS));
  const width = empty ? 1 : Math.floor((box[1] - box[0]) / side) + 3;
  const tall = empty ? 1 : Math.floor((box[3] - box[2]) / side) + 3;
  // The middle of the image lies on the middle of a pixel: turning the image by half a turn changes nothing.
  const left = empty ? 0 : (box[0] + box[1]) / 2 - (width / 2) * side;
  const low = empty ? 0 : (box[2] + box[3]) / 2 - (tall / 2) * side;
  const placed = { ...frame, pixel: side, width, tall, left, low };
  const nearest = new Float32Array(width * tall).fill(-Infinity);
  for (let i = 0; i < positions.length; i += 3) {
    if (!project(placed, positions[i], positions[i + 1], positions[i + 2], at)) continue;
    const p = Math.floor(at[1]) * width + Math.floor(at[0]);
    if (at[2] > nearest[p]) nearest[p] = at[2];
  }
  let hidden = 0;
  let seen = 0;
  for (let i = 0; i < positions.length; i += 3) {
    if (!project(placed, positions[i], positions[i + 1], positions[i + 2], at)) continue;
    seen++;
    if (at[2] < nearest[Math.floor(at[1]) * width + Math.floor(at[0])] - 6 * side) hidden++;
  }
  const height = new Float32Array(width * tall).fill(-Infinity);
  for (let row = 1; row < tall - 1; row++) {
    for (let column = 1; column < width - 1; column++) {
      let top = -Infinity;
      let filled = 0;
      for (let r = row - 1; r <= row + 1; r++) {
        for (let c = column - 1; c <= column + 1; c++) {
          const value = nearest[r * width + c];
          if (value > -Infinity) filled++;
          if (value > top) top = value;
        }
      }
      // At the rim of what was seen a point may have been missed for other reasons.
      if (filled >= 7) height[row * width + column] = top;
    }
  }
  return { ...placed, height, hiddenShare: seen > 0 ? hidden / seen : 1 };
}

const place = new Float64Array(3);

/**
 * How far a point lies in front of what the instrument saw along the same ray, mm: positive contradicts the pose, negative is
 * hidden behind the surface; NaN where the instrument saw nothing.
 */
export function freeSpaceDepth(map: FreeSpaceMap, x: number, y: number, z: number): number {
  if (!project(map, x, y, z, place)) return Number.NaN;
  const column = Math.floor(place[0]);
  const row = Math.floor(place[1]);
  if (column < 0 || row < 0 || column >= map.width || row >= map.tall) return Number.NaN;
  const surface = map.height[row * map.width + column];
  return surface > -Infinity ? place[2] - surface : Number.NaN;
}
