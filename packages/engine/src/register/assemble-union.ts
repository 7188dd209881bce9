import type { PlacedModel } from './assemble-evidence.ts';
import { buildCoarseLookup } from './coarse-lookup.ts';
import { COARSE_MODEL_DEFAULTS, type CoarseModel } from './coarse-model.ts';
import { finishSurface } from './coarse-surface.ts';
import { describeCoarseSurface } from './feature-histogram.ts';
import { selectDistinctive } from './feature-match.ts';

/**
 * All placed scans as one surface, to be matched with a scan that no single scan overlaps enough.
 *
 * Frames   the assembly's. Has no viewpoint: free space is judged against each scan by itself.
 * Method   samples of all scans, those inside a scan before those at a border, kept where none is nearer than 0.7 spacings.
 */
export function buildUnionModel(placed: readonly PlacedModel[]): CoarseModel {
  const { spacing } = placed[0].model;
  const positions: number[] = [];
  const normals: number[] = [];
  const edge: number[] = [];
  const sharp: number[] = [];
  const size = 0.7 * spacing;
  const cells = new Map<string, number[]>();
  for (let pass = 0; pass < 2; pass++) {
    for (const { model, motion: m } of placed) {
      const { surface } = model;
      for (let i = 0; i < surface.count; i++) {
        if (surface.edge[i] !== pass) continue;
        const p = [0, 1, 2].map((r) => {
          const row = 4 * r;
          return (
            m[row] * surface.positions[3 * i] +
            m[row + 1] * surface.positions[3 * i + 1] +
            m[row + 2] * surface.positions[3 * i + 2] +
            m[row + 3]
          );
        });
        const n = [0, 1, 2].map((r) => {
          const row = 4 * r;
          return (
            m[row] * surface.normals[3 * i] +
            m[row + 1] * surface.normals[3 * i + 1] +
            m[row + 2] * surface.normals[3 * i + 2]
          );
        });
        if (isCovered(cells, positions, normals, p, n, size)) continue;
        const key = p.map((c) => Math.floor(c / size)).join(' ');
        const list = cells.get(key);
        if (list === undefined) cells.set(key, [edge.length]);
        else list.push(edge.length);
        positions.push(p[0], p[1], p[2]);
        normals.push(n[0], n[1], n[2]);
        edge.push(pass);
        sharp.push(surface.sharp[i]);
      }
    }
  }
  const surface = finishSurface(
    spacing,
    Float32Array.from(positions),
    Float32Array.from(normals),
    Uint8Array.from(edge),
    Uint8Array.from(sharp),
  );
  const features = describeCoarseSurface(surface, COARSE_MODEL_DEFAULTS.featureReach * spacing);
  const centroid: [number, number, number] = [0, 0, 0];
  for (let i = 0; i < positions.length; i++) centroid[i % 3] += positions[i] / edge.length;
  let squares = 0;
  for (let i = 0; i < positions.length; i++) squares += (positions[i] - centroid[i % 3]) ** 2;
  return {
    spacing,
    surface,
    features,
    keys: selectDistinctive(features, surface.edge, 3 * COARSE_MODEL_DEFAULTS.keyLimit),
    lookup: buildCoarseLookup(surface, 2 * spacing),
    view: null,
    viewInferred: false,
    free: null,
    noise: Math.max(...placed.map((item) => item.model.noise)),
    radius: Math.sqrt(squares / edge.length),
    centroid,
    origin: [0, 0, 0],
    pointCount: edge.length,
    oriented: placed.every((item) => item.model.oriented),
  };
}

function isCovered(
  cells: ReadonlyMap<string, readonly number[]>,
  positions: readonly number[],
  normals: readonly number[],
  p: readonly number[],
  n: readonly number[],
  size: number,
): boolean {
  const c = p.map((value) => Math.floor(value / size));
  for (let x = c[0] - 1; x <= c[0] + 1; x++) {
    for (let y = c[1] - 1; y <= c[1] + 1; y++) {
      for (let z = c[2] - 1; z <= c[2] + 1; z++) {
        for (const j of cells.get(`${x} ${y} ${z}`) ?? []) {
          const d =
            (positions[3 * j] - p[0]) ** 2 + (positions[3 * j + 1] - p[1]) ** 2 + (positions[3 * j + 2] - p[2]) ** 2;
          const facing = normals[3 * j] * n[0] + normals[3 * j + 1] * n[1] + normals[3 * j + 2] * n[2];
          if (d < size * size && facing > 0) return true;
        }
      }
    }
  }
  return false;
}
