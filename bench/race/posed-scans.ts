import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import {
  buildPointIndex,
  compose,
  invert,
  type Pose,
  poseFromMatrix16,
  rotate,
  rotationAngle,
  type ScanData,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import { readFloat32 } from './read-numbers.ts';

/** A scan of the peers' data with its true pose, mm. */
export interface PosedScan {
  readonly data: ScanData;
  readonly objectFromScan: Pose;
}

/** Reads a set of posed scans (`NN.f32`, `NN.nrm.f32`, `gt.txt`), or null where it is absent. */
export function readPosedScans(folder: string): PosedScan[] | null {
  const truth = join(folder, 'gt.txt');
  if (!existsSync(truth)) return null;
  const rows = readFileSync(truth, 'utf8').trim().split('\n');
  return rows.map((row, i) => {
    const name = join(folder, String(i).padStart(2, '0'));
    return {
      data: {
        origin: [0, 0, 0],
        positions: readFloat32(`${name}.f32`),
        normals: readFloat32(`${name}.nrm.f32`),
        colors: null,
        triangles: null,
        viewpoint: null,
      },
      objectFromScan: rigid(row.trim().split(/\s+/).map(Number)),
    };
  });
}

/** The text holds 12 digits, a pose is exact: rows are made orthonormal again. */
function rigid(m: readonly number[]): Pose {
  const rows = [0, 4, 8].map((at) => m.slice(at, at + 3));
  const unit = (v: readonly number[]): number[] => v.map((c) => c / Math.hypot(...v));
  const x = unit(rows[0]!);
  const inner = rows[1]!.reduce((sum, c, k) => sum + c * x[k]!, 0);
  const y = unit(rows[1]!.map((c, k) => c - inner * x[k]!));
  const z = [x[1]! * y[2]! - x[2]! * y[1]!, x[2]! * y[0]! - x[0]! * y[2]!, x[0]! * y[1]! - x[1]! * y[0]!];
  return poseFromMatrix16([...x, m[3]!, ...y, m[7]!, ...z, m[11]!, 0, 0, 0, 1]);
}

/** The scan with its coordinates in another frame. */
export function moveScan(scan: ScanData, frameFromScan: Pose): ScanData {
  const turn = (values: Float32Array): Float32Array => {
    const out = new Float32Array(values.length);
    for (let i = 0; i < values.length; i += 3) {
      out.set(rotate(frameFromScan.rotation, [values[i]!, values[i + 1]!, values[i + 2]!]), i);
    }
    return out;
  };
  return {
    ...scan,
    origin: transformPoint(frameFromScan, scan.origin),
    positions: turn(scan.positions),
    normals: scan.normals && turn(scan.normals),
  };
}

/** Share of the points of each scan (row) that have a point of each other (column) nearer than `near`, true poses. */
export function overlapShares(scans: readonly PosedScan[], near: number): number[][] {
  const world = scans.map(({ data, objectFromScan }) => moveScan(data, objectFromScan));
  const points = world.map(({ positions, origin }) => positions.map((value, k) => value + origin[k % 3]!));
  const samples = points.map((all) => {
    const stride = Math.max(1, Math.floor(all.length / 3 / 4000));
    return all.filter((_, k) => Math.floor(k / 3) % stride === 0);
  });
  const shares = scans.map(() => scans.map(() => 0));
  points.forEach((all, j) => {
    const index = buildPointIndex(all);
    samples.forEach((some, i) => {
      const found = new Int32Array(some.length / 3);
      index.nearest(some, near, found, new Float32Array(found.length));
      shares[i]![j] = found.filter((id) => id >= 0).length / found.length;
    });
    index.dispose();
  });
  return shares;
}

/** Rotation (degrees), way of the centroid and root mean square way of all points, mm, between two poses of a scan. */
export function poseDeviation(
  found: Pose,
  truth: Pose,
  scan: ScanData,
): { rotation: number; centre: number; rms: number } {
  let squares = 0;
  const mean = [0, 0, 0];
  const count = scan.positions.length / 3;
  for (let i = 0; i < scan.positions.length; i += 3) {
    const p: Vec3 = [
      scan.positions[i]! + scan.origin[0],
      scan.positions[i + 1]! + scan.origin[1],
      scan.positions[i + 2]! + scan.origin[2],
    ];
    const a = transformPoint(found, p);
    const b = transformPoint(truth, p);
    for (let k = 0; k < 3; k++) {
      squares += (a[k]! - b[k]!) ** 2;
      mean[k]! += (a[k]! - b[k]!) / count;
    }
  }
  return {
    rotation: (rotationAngle(compose(invert(truth), found).rotation) * 180) / Math.PI,
    centre: Math.hypot(...mean),
    rms: Math.sqrt(squares / count),
  };
}
