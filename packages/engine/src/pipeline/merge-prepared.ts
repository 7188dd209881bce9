import { type Pose, rotationMatrix, transformPoint, type Vec3 } from '../math/index.ts';
import type { PreparedScan } from '../register/index.ts';

/** A prepared scan with its place in a common frame. */
export interface PlacedScan {
  readonly scan: PreparedScan;
  readonly commonFromScan: Pose;
}

/**
 * Scans that are known to lie rigidly together, as one, in their common frame: so a search without a guess sees all of them.
 *
 * One scan is only moved. Several lose their viewpoint; what each saw as empty is then not known any more.
 */
export function mergePrepared(parts: readonly PlacedScan[]): PreparedScan {
  const first = parts[0];
  const origin = transformPoint(first.commonFromScan, first.scan.origin);
  const count = parts.reduce((sum, part) => sum + part.scan.border.length, 0);
  const positions = new Float32Array(3 * count);
  const normals = new Float32Array(3 * count);
  const border = new Uint8Array(count);
  let at = 0;
  for (const { scan, commonFromScan } of parts) {
    const m = rotationMatrix(commonFromScan.rotation);
    const start = transformPoint(commonFromScan, scan.origin);
    const shift = [start[0] - origin[0], start[1] - origin[1], start[2] - origin[2]];
    for (let i = 0; i < scan.positions.length; i += 3) {
      for (let r = 0; r < 3; r++) {
        const to = 3 * at + i + r;
        positions[to] =
          m[3 * r] * scan.positions[i] +
          m[3 * r + 1] * scan.positions[i + 1] +
          m[3 * r + 2] * scan.positions[i + 2] +
          shift[r];
        normals[to] =
          m[3 * r] * scan.normals[i] + m[3 * r + 1] * scan.normals[i + 1] + m[3 * r + 2] * scan.normals[i + 2];
      }
    }
    border.set(scan.border, at);
    at += scan.border.length;
  }
  const { centroid, radius } = spreadOf(positions);
  return {
    origin,
    positions,
    normals,
    oriented: parts.every((part) => part.scan.oriented),
    orientation: first.scan.orientation,
    border,
    viewpoint: null,
    spacing: Math.max(...parts.map((part) => part.scan.spacing)),
    noise: Math.max(...parts.map((part) => part.scan.noise)),
    radius,
    centroid,
  };
}

function spreadOf(positions: Float32Array): { readonly centroid: Vec3; readonly radius: number } {
  const sum = [0, 0, 0];
  for (let i = 0; i < positions.length; i++) sum[i % 3] += positions[i];
  const count = positions.length / 3 || 1;
  const centroid: Vec3 = [sum[0] / count, sum[1] / count, sum[2] / count];
  let squares = 0;
  for (let i = 0; i < positions.length; i++) squares += (positions[i] - centroid[i % 3]) ** 2;
  return { centroid, radius: Math.sqrt(squares / count) };
}
