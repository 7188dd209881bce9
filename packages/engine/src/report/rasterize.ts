import { cross, dot, normalize, type Pose, rotationMatrix, type Vec3 } from '../math/index.ts';
import type { Picture } from './encode-png.ts';

/** A parallel projection: the way the eye looks, and which way is up on paper. Job frame, unit vectors. */
export interface View {
  readonly name: string;
  readonly direction: Vec3;
  readonly up: Vec3;
}

/** One thing to draw. Points where there are no triangles. */
export interface DrawItem {
  readonly origin: Vec3;
  readonly positions: Float32Array;
  readonly triangles: Uint32Array | null;
  readonly jobFromItem: Pose;
  /** rgb for each vertex, or one rgb for all. */
  readonly colors: Uint8Array | readonly [number, number, number];
  /** Second cue beside colour: 0 none, otherwise the number of the line pattern drawn over it. */
  readonly hatch: number | Uint8Array;
  /** How strongly light and shade show: 1 for shape, little where the colour itself is a value. */
  readonly relief: number;
}

/** The part of the drawing plane that a picture shows, mm. */
export interface Extent {
  readonly minRight: number;
  readonly maxRight: number;
  readonly minUp: number;
  readonly maxUp: number;
}

/** A drawn picture with its scale. */
export interface Drawing {
  readonly picture: Picture;
  readonly mmPerPixel: number;
  readonly extent: Extent;
}

interface Axes {
  readonly right: Vec3;
  readonly up: Vec3;
  readonly toEye: Vec3;
}

function axesOf(view: View): Axes {
  const toEye = normalize([-view.direction[0], -view.direction[1], -view.direction[2]]);
  const right = normalize(cross(view.up, toEye));
  return { right, up: cross(toEye, right), toEye };
}

function project(item: DrawItem, axes: Axes, centre: Vec3): Float32Array {
  const m = rotationMatrix(item.jobFromItem.rotation);
  const t = item.jobFromItem.translation;
  const o = item.origin;
  const shift: Vec3 = [
    m[0] * o[0] + m[1] * o[1] + m[2] * o[2] + t[0] - centre[0],
    m[3] * o[0] + m[4] * o[1] + m[5] * o[2] + t[1] - centre[1],
    m[6] * o[0] + m[7] * o[1] + m[8] * o[2] + t[2] - centre[2],
  ];
  const rows: readonly Vec3[] = [axes.right, axes.up, axes.toEye];
  const k = rows.map((r): readonly [number, number, number, number] => [
    r[0] * m[0] + r[1] * m[3] + r[2] * m[6],
    r[0] * m[1] + r[1] * m[4] + r[2] * m[7],
    r[0] * m[2] + r[1] * m[5] + r[2] * m[8],
    dot(r, shift),
  ]);
  const [a, b, c] = k as unknown as readonly (readonly [number, number, number, number])[];
  const p = item.positions;
  const out = new Float32Array(p.length);
  for (let i = 0; i < p.length; i += 3) {
    const x = p[i];
    const y = p[i + 1];
    const z = p[i + 2];
    out[i] = a[0] * x + a[1] * y + a[2] * z + a[3];
    out[i + 1] = b[0] * x + b[1] * y + b[2] * z + b[3];
    out[i + 2] = c[0] * x + c[1] * y + c[2] * z + c[3];
  }
  return out;
}

/** Line patterns: direction and spacing in picture pixels. Told apart in black and white too. */
const HATCHES: readonly (readonly [number, number, number])[] = [
  [1, 1, 9],
  [1, -1, 9],
  [0, 1, 8],
  [1, 0, 8],
  [1, 2, 10],
  [2, -1, 10],
  [1, 1, 16],
  [1, -1, 16],
];

const PAPER: readonly [number, number, number] = [251, 250, 246];

/**
 * Draws things in parallel projection with a depth buffer: no browser, no graphics card, the same bytes everywhere.
 *
 * Frames   items come with `jobFromItem`; the drawing plane is spanned by the view's right and up.
 * Units    mm; the extent, when given, relative to `centre`.
 * Light    from the eye's upper left; both sides of a surface are lit alike, the back side is drawn darker.
 *
 * @param width picture width in pixels; the height follows from the extent
 * @param centre a point near the things, job frame: keeps float32 exact far from the origin
 */
export function drawParallel(
  items: readonly DrawItem[],
  view: View,
  width: number,
  centre: Vec3,
  extent?: Extent,
): Drawing {
  const axes = axesOf(view);
  const projected = items.map((item) => project(item, axes, centre));
  const box = extent ?? extentOf(projected);
  const over = 2;
  const w = width * over;
  const mmPerSample = (box.maxRight - box.minRight) / w;
  const height = Math.max(1, Math.round((box.maxUp - box.minUp) / mmPerSample / over));
  const h = height * over;
  const depth = new Float32Array(w * h).fill(-Infinity);
  const color = new Uint8Array(w * h * 3);
  for (let i = 0; i < w * h; i++) color.set(PAPER, 3 * i);
  const light = normalize([-0.45, 0.55, 0.75]);
  items.forEach((item, index) => {
    const q = projected[index];
    const fixed = item.colors instanceof Uint8Array ? null : item.colors;
    const perVertex = item.colors instanceof Uint8Array ? item.colors : null;
    const put = (
      x: number,
      y: number,
      z: number,
      r: number,
      g: number,
      b: number,
      shade: number,
      hatch: number,
    ): void => {
      const at = y * w + x;
      if (z <= depth[at]) return;
      depth[at] = z;
      let s = shade;
      if (hatch > 0) {
        const [u, v, step] = HATCHES[(hatch - 1) % HATCHES.length];
        const phase = ((((u * x + v * y) / over) % step) + step) % step;
        if (phase < 1.2) s *= 0.72;
      }
      color[3 * at] = Math.min(255, r * s);
      color[3 * at + 1] = Math.min(255, g * s);
      color[3 * at + 2] = Math.min(255, b * s);
    };
    const hatchAt = (vertex: number): number => (typeof item.hatch === 'number' ? item.hatch : item.hatch[vertex]);
    if (item.triangles === null) {
      for (let v = 0; v < q.length / 3; v++) {
        const x = Math.floor((q[3 * v] - box.minRight) / mmPerSample);
        const y = Math.floor((box.maxUp - q[3 * v + 1]) / mmPerSample);
        for (let dy = 0; dy < 3; dy++) {
          for (let dx = 0; dx < 3; dx++) {
            if (x + dx < 0 || y + dy < 0 || x + dx >= w || y + dy >= h) continue;
            const c = perVertex === null ? fixed! : perVertex.subarray(3 * v, 3 * v + 3);
            put(x + dx, y + dy, q[3 * v + 2], c[0], c[1], c[2], 0.9, hatchAt(v));
          }
        }
      }
      return;
    }
    const t = item.triangles;
    for (let f = 0; f < t.length; f += 3) {
      const i = 3 * t[f];
      const j = 3 * t[f + 1];
      const k = 3 * t[f + 2];
      const x0 = (q[i] - box.minRight) / mmPerSample;
      const y0 = (box.maxUp - q[i + 1]) / mmPerSample;
      const x1 = (q[j] - box.minRight) / mmPerSample;
      const y1 = (box.maxUp - q[j + 1]) / mmPerSample;
      const x2 = (q[k] - box.minRight) / mmPerSample;
      const y2 = (box.maxUp - q[k + 1]) / mmPerSample;
      const area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0);
      if (!(Math.abs(area) > 1e-12)) continue;
      const left = Math.max(0, Math.floor(Math.min(x0, x1, x2)));
      const right = Math.min(w - 1, Math.ceil(Math.max(x0, x1, x2)));
      const top = Math.max(0, Math.floor(Math.min(y0, y1, y2)));
      const bottom = Math.min(h - 1, Math.ceil(Math.max(y0, y1, y2)));
      if (left > right || top > bottom) continue;
      const ax = q[j] - q[i];
      const ay = q[j + 1] - q[i + 1];
      const az = q[j + 2] - q[i + 2];
      const bx = q[k] - q[i];
      const by = q[k + 1] - q[i + 1];
      const bz = q[k + 2] - q[i + 2];
      const nx = ay * bz - az * by;
      const ny = az * bx - ax * bz;
      const nz = ax * by - ay * bx;
      const length = Math.hypot(nx, ny, nz) || 1;
      const facing = nz >= 0 ? 1 : -1;
      const lit = Math.max(0, (facing * (nx * light[0] + ny * light[1] + nz * light[2])) / length);
      const shade = 1 + item.relief * ((facing > 0 ? 1 : 0.62) * (0.42 + 0.62 * lit) - 1);
      const inverse = 1 / area;
      const hatch = hatchAt(t[f]);
      for (let y = top; y <= bottom; y++) {
        for (let x = left; x <= right; x++) {
          const px = x + 0.5;
          const py = y + 0.5;
          const w1 = ((px - x0) * (y2 - y0) - (x2 - x0) * (py - y0)) * inverse;
          const w2 = ((x1 - x0) * (py - y0) - (px - x0) * (y1 - y0)) * inverse;
          const w0 = 1 - w1 - w2;
          if (w0 < 0 || w1 < 0 || w2 < 0) continue;
          const z = w0 * q[i + 2] + w1 * q[j + 2] + w2 * q[k + 2];
          if (perVertex === null) put(x, y, z, fixed![0], fixed![1], fixed![2], shade, hatch);
          else {
            put(
              x,
              y,
              z,
              w0 * perVertex[i] + w1 * perVertex[j] + w2 * perVertex[k],
              w0 * perVertex[i + 1] + w1 * perVertex[j + 1] + w2 * perVertex[k + 1],
              w0 * perVertex[i + 2] + w1 * perVertex[j + 2] + w2 * perVertex[k + 2],
              shade,
              hatch,
            );
          }
        }
      }
    }
  });
  const rgb = new Uint8Array(width * height * 3);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      for (let c = 0; c < 3; c++) {
        let sum = 0;
        for (let dy = 0; dy < over; dy++) {
          for (let dx = 0; dx < over; dx++) sum += color[3 * ((y * over + dy) * w + x * over + dx) + c];
        }
        rgb[3 * (y * width + x) + c] = Math.round(sum / (over * over));
      }
    }
  }
  return { picture: { width, height, rgb }, mmPerPixel: mmPerSample * over, extent: box };
}

/** Box around projected things with a margin of 4 %, at least a little wide. */
function extentOf(projected: readonly Float32Array[]): Extent {
  let minRight = Infinity;
  let maxRight = -Infinity;
  let minUp = Infinity;
  let maxUp = -Infinity;
  for (const q of projected) {
    for (let i = 0; i < q.length; i += 3) {
      if (q[i] < minRight) minRight = q[i];
      if (q[i] > maxRight) maxRight = q[i];
      if (q[i + 1] < minUp) minUp = q[i + 1];
      if (q[i + 1] > maxUp) maxUp = q[i + 1];
    }
  }
  if (!(maxRight >= minRight)) return { minRight: -1, maxRight: 1, minUp: -1, maxUp: 1 };
  const size = Math.max(maxRight - minRight, maxUp - minUp) || 1;
  const margin = 0.04 * size;
  const middleRight = (minRight + maxRight) / 2;
  const halfRight = Math.max((maxRight - minRight) / 2, 0.2 * size) + margin;
  const middleUp = (minUp + maxUp) / 2;
  const halfUp = Math.max((maxUp - minUp) / 2, 0.2 * size) + margin;
  return {
    minRight: middleRight - halfRight,
    maxRight: middleRight + halfRight,
    minUp: middleUp - halfUp,
    maxUp: middleUp + halfUp,
  };
}
