import {
  type AlignInput,
  type AlignmentResult,
  alignScans,
  compose,
  invert,
  makeRandom,
  makeRunContext,
  makeSerialRunner,
  PIPELINE_TASKS,
  type Pose,
  rotationAngle,
  type ScanData,
  type Target,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { ShapeSampler, type SurfacePoint } from '../register/coarse-shapes.ts';

function align(
  scans: Readonly<Record<string, ScanData>>,
  targetLists: AlignInput['targetLists'] = [],
): Promise<AlignmentResult> {
  const input: AlignInput = {
    frames: Object.keys(scans),
    scans: Object.entries(scans).map(([name, data]) => ({ id: name, name, frame: name, data, noise: null })),
    targetLists,
    ties: [],
  };
  return alignScans(input, {}, makeSerialRunner(PIPELINE_TASKS), makeRunContext());
}

/** A housing of 160 x 80 x 60 mm with a block on one end: without that end it fits turned by half a turn as well. */
function part(shapes: ShapeSampler): SurfacePoint[] {
  return [
    ...shapes.box([160, 80, 60], 0.1),
    ...shapes.box([24, 24, 50], 0.3, [60, 20, 50]).filter(({ p }) => p[2] > 30),
  ];
}

describe('what the alignment says of a place', () => {
  it('lists the places of a scan that fits in several, in the frame of the job, and chooses none', async () => {
    const shapes = new ShapeSampler('rivals of a job');
    const poses = { first: shapes.pose(), second: shapes.pose(), end: shapes.pose() };
    const result = await align({
      first: shapes.scan(part(shapes), poses.first, 0.05),
      second: shapes.scan(part(shapes), poses.second, 0.05),
      end: shapes.scan(
        part(shapes).filter(({ p }) => p[0] < 30),
        poses.end,
        0.05,
      ),
    });
    const [first, second, end] = result.frames;
    expect([first?.status, second?.status, end?.status]).toEqual(['fixed', 'adjusted', 'refused']);
    expect(second?.message).toContain('Found without a guess');
    expect(end?.jobFromFrame).toBeNull();
    expect(end?.message).toContain('Ambiguous');
    expect(end?.rivals.length).toBeGreaterThan(1);
    expect(end?.rivals[0]?.margin).toBe(0);
    const truth = compose(poses.first, invert(poses.end));
    const angles = (end?.rivals ?? []).map(
      ({ jobFromFrame }) => (rotationAngle(compose(jobFromFrame, invert(truth)).rotation) * 180) / Math.PI,
    );
    expect(Math.min(...angles)).toBeLessThan(1);
    expect(Math.max(...angles)).toBeGreaterThan(170);
  }, 120_000);

  it('does not call a frame found without a guess that common targets tie to the frame of the job', async () => {
    const shapes = new ShapeSampler('tied and searched');
    const poses = { job: shapes.pose(), tied: shapes.pose(), searched: shapes.pose() };
    const scans = Object.fromEntries(
      Object.entries(poses).map(([name, pose]) => [name, shapes.scan(part(shapes), pose, 0.05)]),
    );
    const random = makeRandom(4, 'targets');
    const places: Vec3[] = Array.from({ length: 9 }, () => [
      160 * (random.uniform() - 0.5),
      80 * (random.uniform() - 0.5),
      60 * (random.uniform() - 0.5),
    ]);
    const list = (frame: 'job' | 'tied'): AlignInput['targetLists'][number] => ({
      id: `targets-${frame}`,
      name: `${frame}.csv`,
      frame,
      targets: places.map((place, i): Target => {
        const [x, y, z] = transformPoint(poses[frame] as Pose, place);
        const shake = (): number => 0.02 * random.normal();
        return { name: `${frame}-${i}`, position: [x + shake(), y + shake(), z + shake()], sigma: 0.02 };
      }),
    });
    const result = await align(scans, [list('job'), list('tied')]);
    const [, tied, searched] = result.frames;
    expect(tied?.message).toContain('common targets with job');
    expect(tied?.message).not.toContain('without a guess');
    expect(searched?.message).toContain('Found without a guess');
    expect(result.ties.find((tie) => tie.kind === 'targets')?.count).toBe(9);
  }, 120_000);
});
