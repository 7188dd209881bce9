import { type JobDocument, type Target, transformPoint } from '@lapjoint/engine';
import { placedFactorOf } from './length-factors.ts';
import { reducedProbePoints, reducedTargets } from './reduced-data.ts';
import type { ShownJob } from './show-job.ts';

/** A field of a CSV, in quotes where it needs them (RFC 4180). */
function field(value: string | number | null): string {
  const text = value === null ? '' : String(value);
  return /[",\r\n;]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}

function csv(rows: readonly (readonly (string | number | null)[])[]): string {
  return rows.map((row) => `${row.map(field).join(',')}\n`).join('');
}

/** Poses of all scans: one line each, the 16 numbers of jobFromScan row-major. */
export function posesCsv(job: ShownJob): string {
  const numbers = Array.from({ length: 16 }, (_, i) => `m${Math.floor(i / 4)}${i % 4}`);
  const names = new Map(job.scans.map((scan) => [scan.id, scan.name]));
  return csv([
    ['scan', 'file', 'frame', 'status', ...numbers],
    ...job.poses.map((pose) => [
      pose.scan,
      names.get(pose.scan) ?? '',
      pose.frame,
      pose.status,
      ...(pose.jobFromScan ?? Array<null>(16).fill(null)),
    ]),
  ]);
}

/** Targets of all placed lists in the job's frame, named `list/target`; and how many lists could not be placed. */
export function targetsInJobFrame(document: JobDocument): { readonly targets: Target[]; readonly leftOut: number } {
  const poses = new Map((document.alignment?.result.frames ?? []).map((pose) => [pose.frame, pose.jobFromFrame]));
  let leftOut = 0;
  const targets = document.targetLists.flatMap((list) => {
    const pose = poses.get(list.frame) ?? null;
    if (pose === null) {
      leftOut++;
      return [];
    }
    return reducedTargets(list, placedFactorOf(document, list)).map(({ name, position, sigma }) => ({
      name: `${list.session}/${name}`,
      position: transformPoint(pose, position),
      sigma,
    }));
  });
  return { targets, leftOut };
}

/** Probed points of all placed sets in the job's frame. */
export function probedPointsCsv(document: JobDocument): string {
  const poses = new Map((document.alignment?.result.frames ?? []).map((pose) => [pose.frame, pose.jobFromFrame]));
  const rows = document.probeSets.flatMap((set) => {
    const pose = poses.get(set.frame) ?? null;
    if (pose === null) return [];
    return reducedProbePoints(set, placedFactorOf(document, set)).map((point) => {
      const [x, y, z] = transformPoint(pose, point.position);
      const turned =
        point.approach === null ? null : transformPoint({ ...pose, translation: [0, 0, 0] }, point.approach);
      return [set.session, point.feature, x, y, z, ...(turned ?? [null, null, null]), point.tipRadius, point.sigma];
    });
  });
  return csv([['session', 'feature', 'x_mm', 'y_mm', 'z_mm', 'i', 'j', 'k', 'tip_radius_mm', 'sigma_mm'], ...rows]);
}
