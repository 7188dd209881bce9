// Probed places against the surface of another frame's scan.
import {
  choleskyFactor,
  choleskySolve,
  compose,
  invert,
  type Pose,
  type PreparedScan,
  type ProbeObservation,
  type SimulatedNetworkData,
  scanPointIndex,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import type { RoundScan } from '../../packages/engine/src/pipeline/overlap-round.ts';

const NEIGHBOURS = 24;

/** One observation for each probed place with scanned surface around it. */
export function probeObservations(
  data: SimulatedNetworkData,
  scans: readonly RoundScan[],
  poses: ReadonlyMap<string, Pose>,
): ProbeObservation[] {
  return data.probed.flatMap(({ id, frame, surfaceFrame, sigma, points }) => {
    const scan = scans.find((one) => one.frame === surfaceFrame)?.keyed.scan;
    if (scan === undefined) return [];
    const surfaceFromProbe = compose(invert(poses.get(surfaceFrame) as Pose), poses.get(frame) as Pose);
    return points.map((point): ProbeObservation => {
      const { place, normal } = surfaceNear(scan, transformPoint(surfaceFromProbe, point));
      return {
        kind: 'probe',
        tie: id,
        frameA: frame,
        point,
        frameB: surfaceFrame,
        surfacePoint: place,
        normal,
        sigma: Math.hypot(sigma, scan.noise),
      };
    });
  });
}

/** Quadric height field through the nearest points: the surface's place and normal below or above a point. */
function surfaceNear(scan: PreparedScan, at: Vec3): { readonly place: Vec3; readonly normal: Vec3 } {
  const local = at.map((x, k) => x - scan.origin[k]);
  const found = new Int32Array(NEIGHBOURS);
  scanPointIndex(scan).kNearest(Float32Array.from(local), NEIGHBOURS, found, new Float32Array(NEIGHBOURS));
  const w = [0, 0, 0];
  for (const i of found) for (let k = 0; k < 3; k++) w[k] += scan.normals[3 * i + k];
  const length = Math.hypot(...w);
  for (let k = 0; k < 3; k++) w[k] /= length;
  const u = Math.abs(w[0]) < 0.6 ? [0, -w[2], w[1]] : [w[2], 0, -w[0]];
  const size = Math.hypot(...u);
  for (let k = 0; k < 3; k++) u[k] /= size;
  const v = [w[1] * u[2] - w[2] * u[1], w[2] * u[0] - w[0] * u[2], w[0] * u[1] - w[1] * u[0]];
  const normal = new Float64Array(36);
  const right = new Float64Array(6);
  for (const i of found) {
    const d = local.map((x, k) => scan.positions[3 * i + k] - x);
    const [a, b, h] = [u, v, w].map((axis) => axis[0] * d[0] + axis[1] * d[1] + axis[2] * d[2]);
    const row = [1, a / 10, b / 10, (a * a) / 100, (a * b) / 100, (b * b) / 100];
    for (let r = 0; r < 6; r++) {
      right[r] += row[r] * h;
      for (let c = 0; c < 6; c++) normal[6 * r + c] += row[r] * row[c];
    }
  }
  const factor = choleskyFactor(normal, 6);
  if (factor === null) throw new Error('No surface around a probed place.');
  const [height, slopeU, slopeV] = choleskySolve(factor, 6, right);
  const n = w.map((x, k) => x - (slopeU / 10) * u[k] - (slopeV / 10) * v[k]);
  const norm = Math.hypot(...n);
  return {
    place: at.map((x, k) => x + height * w[k]) as unknown as Vec3,
    normal: n.map((x) => x / norm) as unknown as Vec3,
  };
}
