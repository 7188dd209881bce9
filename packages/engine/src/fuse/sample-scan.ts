import type { Finding } from '../base/index.ts';
import { boundsOf, estimateNormals } from '../geometry/index.ts';
import { rotate, rotationMatrix, transformPoint, type Vec3 } from '../math/index.ts';
import { makeCoarseField } from './coarse-field.ts';
import type { FusionPlan } from './fusion-plan.ts';
import type { FusionSamples, SampleSink } from './fusion-samples.ts';
import { jobShift, measureFusionScan } from './measure-scan.ts';
import type { PosedScan } from './posed-scan.ts';
import { sampleCloud } from './sample-cloud.ts';
import { sampleMesh } from './sample-mesh.ts';
import { thinSamples } from './thin-samples.ts';
import { weldPositions } from './weld-positions.ts';

/** Samples of a scan, or null where nothing of it can be used; findings say why. */
export interface SampledScan {
  readonly samples: FusionSamples | null;
  readonly findings: readonly Finding[];
}

/** A scan's say at its very border and at grazing incidence, against 1 in its middle and head-on. */
const LEAST_FEATHER = 0.005;
const LEAST_INCIDENCE = 0.15;
/** Share of the surface that may face away from the instrument before the winding is taken as reversed. */
const REVERSED_SHARE = 0.7;
/** Noise, in resolutions, below which scans count as equally good: finer than the grid can tell. */
const LEAST_SIGMA = 1e-3;
const NORMAL_NEIGHBOURS = 12;
/** Normals are smoothed once for each step of this much noise against the spacing: beyond it, noise tilts them by ten degrees. */
const SMOOTHING_NOISE = 0.15;
const MOST_SMOOTHING = 3;

/**
 * Turns a scan into weighted samples in the plan's frame.
 *
 * Method   weight = area x incidence x feather / (noise^2 + placement^2), after Curless & Levoy 1996: cosine of the angle
 *          between normal and direction to the instrument, and a smooth rise from the border inwards, so that the better
 *          scan wins and seams have no step.
 * Repeats  a pure function of its arguments; may run in a worker.
 */
export function sampleFusionScan(posed: PosedScan, plan: FusionPlan): SampledScan {
  const findings: Finding[] = [];
  const { scan } = posed;
  let colors = scan.colors;
  let sink: SampleSink;
  if (scan.triangles) {
    let positions = toPlanFrame(posed, plan);
    let triangles = finiteTriangles(positions, scan.triangles);
    const welded = weldPositions(positions, triangles, colors);
    if (welded) ({ positions, triangles, colors } = welded);
    const { spacing } = measureFusionScan(posed);
    const smoothing = Math.min(MOST_SMOOTHING, Math.floor(posed.noise / (SMOOTHING_NOISE * spacing)));
    sink = sampleMesh(positions, triangles, colors, plan.resolution, plan.featherWidth, smoothing);
  } else {
    const cloud = orientedCloud(posed, plan, findings);
    if (!cloud) return { samples: null, findings };
    sink = sampleCloud(cloud.positions, cloud.normals, cloud.colors, plan.resolution, plan.featherWidth);
  }
  sink = thinSamples(sink, plan.resolution, plan.gridLow);
  if (sink.count === 0) return { samples: null, findings };
  turnTowardsInstrument(posed, plan, sink, findings);
  return { samples: weighSamples(posed, plan, sink), findings };
}

function toPlanFrame(posed: PosedScan, plan: FusionPlan): Float64Array {
  const m = rotationMatrix(posed.jobFromScan.rotation);
  const s = jobShift(posed);
  const x = s[0] - plan.origin[0];
  const y = s[1] - plan.origin[1];
  const z = s[2] - plan.origin[2];
  const p = posed.scan.positions;
  const out = new Float64Array(p.length);
  for (let i = 0; i + 2 < p.length; i += 3) {
    out[i] = m[0] * p[i] + m[1] * p[i + 1] + m[2] * p[i + 2] + x;
    out[i + 1] = m[3] * p[i] + m[4] * p[i + 1] + m[5] * p[i + 2] + y;
    out[i + 2] = m[6] * p[i] + m[7] * p[i + 1] + m[8] * p[i + 2] + z;
  }
  return out;
}

function finiteTriangles(positions: Float64Array, triangles: Uint32Array): Uint32Array {
  let finite = true;
  for (let i = 0; i < positions.length && finite; i++) finite = Number.isFinite(positions[i]);
  if (finite) return triangles;
  const isUsable = (v: number): boolean =>
    Number.isFinite(positions[3 * v] + positions[3 * v + 1] + positions[3 * v + 2]);
  const kept: number[] = [];
  for (let t = 0; t + 2 < triangles.length; t += 3) {
    if (isUsable(triangles[t]) && isUsable(triangles[t + 1]) && isUsable(triangles[t + 2])) {
      kept.push(triangles[t], triangles[t + 1], triangles[t + 2]);
    }
  }
  return Uint32Array.from(kept);
}

interface OrientedCloud {
  readonly positions: Float64Array;
  readonly normals: Float32Array;
  readonly colors: Uint8Array | null;
}

function orientedCloud(posed: PosedScan, plan: FusionPlan, findings: Finding[]): OrientedCloud | null {
  const { scan } = posed;
  const all = toPlanFrame(posed, plan);
  let normals = scan.normals;
  if (!normals) {
    if (!posed.viewpoint) {
      findings.push({
        severity: 'refusal',
        code: 'fuse/no-facing',
        subject: posed.id,
        message: 'A cloud without normals whose instrument position is unknown has no outside; it is left out.',
        remedy: 'State where the instrument stood, or bring the cloud in with normals or as a mesh.',
      });
      return null;
    }
    normals = estimateNormals(scan.positions, NORMAL_NEIGHBOURS).normals;
  }
  const turned = rotateNormals(posed, normals);
  if (!scan.normals) {
    const view = viewDirection(posed, plan);
    for (let i = 0; i + 2 < all.length; i += 3) {
      const v = view(all[i], all[i + 1], all[i + 2]);
      if (turned[i] * v[0] + turned[i + 1] * v[1] + turned[i + 2] * v[2] >= 0) continue;
      for (let axis = 0; axis < 3; axis++) turned[i + axis] = -turned[i + axis];
    }
  }
  const kept: number[] = [];
  for (let i = 0; i < all.length / 3; i++) {
    const sum = all[3 * i] + all[3 * i + 1] + all[3 * i + 2] + turned[3 * i] + turned[3 * i + 1] + turned[3 * i + 2];
    if (Number.isFinite(sum)) kept.push(i);
  }
  if (kept.length === all.length / 3) return { positions: all, normals: turned, colors: scan.colors };
  const pick = (from: ArrayLike<number>, to: Float64Array | Float32Array | Uint8Array): void => {
    kept.forEach((i, n) => {
      for (let axis = 0; axis < 3; axis++) to[3 * n + axis] = from[3 * i + axis];
    });
  };
  const positions = new Float64Array(3 * kept.length);
  const keptNormals = new Float32Array(3 * kept.length);
  const colors = scan.colors ? new Uint8Array(3 * kept.length) : null;
  pick(all, positions);
  pick(turned, keptNormals);
  if (scan.colors && colors) pick(scan.colors, colors);
  return { positions, normals: keptNormals, colors };
}

function rotateNormals(posed: PosedScan, normals: Float32Array): Float32Array {
  const m = rotationMatrix(posed.jobFromScan.rotation);
  const out = new Float32Array(normals.length);
  for (let i = 0; i + 2 < normals.length; i += 3) {
    const x = m[0] * normals[i] + m[1] * normals[i + 1] + m[2] * normals[i + 2];
    const y = m[3] * normals[i] + m[4] * normals[i + 1] + m[5] * normals[i + 2];
    const z = m[6] * normals[i] + m[7] * normals[i + 1] + m[8] * normals[i + 2];
    const length = Math.sqrt(x * x + y * y + z * z);
    if (!(length > 0)) continue;
    out[i] = x / length;
    out[i + 1] = y / length;
    out[i + 2] = z / length;
  }
  return out;
}

/** Direction from a place in the plan's frame to the instrument, not normalised; zero where unknown. */
function viewDirection(posed: PosedScan, plan: FusionPlan): (x: number, y: number, z: number) => Vec3 {
  const view = posed.viewpoint;
  if (!view) return () => [0, 0, 0];
  if (view.kind === 'direction') {
    const direction = rotate(posed.jobFromScan.rotation, view.direction);
    return () => direction;
  }
  const at = transformPoint(posed.jobFromScan, view.position);
  const local: Vec3 = [at[0] - plan.origin[0], at[1] - plan.origin[1], at[2] - plan.origin[2]];
  return (x, y, z) => [local[0] - x, local[1] - y, local[2] - z];
}

/** A mesh whose triangles mostly show their back to the instrument is wound the wrong way round: turned, and said. */
function turnTowardsInstrument(posed: PosedScan, plan: FusionPlan, sink: SampleSink, findings: Finding[]): void {
  if (!posed.viewpoint) return;
  const view = viewDirection(posed, plan);
  const p = sink.positions;
  const n = sink.normals;
  let all = 0;
  let away = 0;
  for (let i = 0; i < sink.count; i++) {
    const v = view(p[3 * i], p[3 * i + 1], p[3 * i + 2]);
    const product = v[0] * n[3 * i] + v[1] * n[3 * i + 1] + v[2] * n[3 * i + 2];
    all += sink.areas[i];
    if (product < 0) away += sink.areas[i];
  }
  if (!(away > REVERSED_SHARE * all)) return;
  for (let i = 0; i < 3 * sink.count; i++) n[i] = -n[i];
  findings.push({
    severity: 'warning',
    code: 'fuse/reversed',
    subject: posed.id,
    message: `${Math.round((100 * away) / all)} % of the surface faces away from the instrument; the scan was turned inside out.`,
    remedy: 'Check the winding of the file, or where the instrument stood.',
  });
}

/** Standard uncertainty of the placement at a place in the plan's frame. */
function placementField(posed: PosedScan, plan: FusionPlan, sink: SampleSink): (place: Vec3) => number {
  const { sigmaPose } = posed;
  const box = boundsOf(sink.positions.subarray(0, 3 * sink.count));
  if (!sigmaPose || !box) return () => 0;
  const [ox, oy, oz] = plan.origin;
  return makeCoarseField(([x, y, z]) => sigmaPose([x + ox, y + oy, z + oz]), box.low, box.high);
}

function weighSamples(posed: PosedScan, plan: FusionPlan, sink: SampleSink): FusionSamples {
  const count = sink.count;
  const weights = new Float32Array(count);
  const sigmaPose = new Float32Array(count);
  const view = viewDirection(posed, plan);
  const p = sink.positions;
  const n = sink.normals;
  const noise = Math.max(posed.noise, 0);
  const floor = (LEAST_SIGMA * plan.resolution) ** 2;
  const placement = placementField(posed, plan, sink);
  for (let i = 0; i < count; i++) {
    const x = p[3 * i];
    const y = p[3 * i + 1];
    const z = p[3 * i + 2];
    const placed = placement([x, y, z]);
    sigmaPose[i] = placed;
    const v = view(x, y, z);
    const reach = Math.sqrt(v[0] * v[0] + v[1] * v[1] + v[2] * v[2]);
    const cosine = reach > 0 ? (v[0] * n[3 * i] + v[1] * n[3 * i + 1] + v[2] * n[3 * i + 2]) / reach : 1;
    const share = Math.min(1, sink.borders[i] / plan.featherWidth);
    // Equal ratios over equal steps: the share of a much better scan then falls evenly too, not all at the very border.
    const feather = LEAST_FEATHER ** (1 - share);
    const variance = noise * noise + placed * placed + floor;
    weights[i] = (sink.areas[i] * Math.max(LEAST_INCIDENCE, cosine) * feather) / variance;
  }
  return {
    scanIndex: plan.scanIds.indexOf(posed.id),
    noise,
    positions: p.slice(0, 3 * count),
    normals: n.slice(0, 3 * count),
    areas: sink.areas.slice(0, count),
    weights,
    sigmaPose,
    colors: sink.colors ? sink.colors.slice(0, 3 * count) : null,
  };
}
