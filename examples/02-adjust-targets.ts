// A net of three sessions that saw the same targets, adjusted together; then the same net with one target knocked loose.
// Expect: the loose target is named, because the other sessions check it.
import {
  adjustNetwork,
  makeRandom,
  makeRunContext,
  type NetworkObservation,
  type Pose,
  quaternionOfVector,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';

const random = makeRandom(1, 'example');
const targets: Vec3[] = Array.from({ length: 8 }, () => [
  4000 * random.uniform(),
  1500 * random.uniform(),
  1000 * random.uniform(),
]);
const sigma = 0.03;
const frameFromJob: Record<string, Pose> = {
  roof: { rotation: [1, 0, 0, 0], translation: [0, 0, 0] },
  front: { rotation: quaternionOfVector([0.2, -0.5, 1.2]), translation: [1500, -800, 250] },
  rear: { rotation: quaternionOfVector([-1.1, 0.4, 0.3]), translation: [-300, 2500, 1200] },
};

function observe(looseTarget: number | null): NetworkObservation[] {
  const noise = makeRandom(2, 'noise');
  return Object.entries(frameFromJob).flatMap(([frame, pose]) =>
    targets.map((target, i): NetworkObservation => {
      const place = transformPoint(pose, target);
      const loose = frame === 'front' && i === looseTarget ? 0.5 : 0;
      const position: Vec3 = [
        place[0] + sigma * noise.normal() + loose,
        place[1] + sigma * noise.normal(),
        place[2] + sigma * noise.normal(),
      ];
      const v = sigma * sigma;
      return {
        kind: 'target',
        tie: 'targets',
        frame,
        target: `T${i + 1}`,
        position,
        covariance: [v, 0, 0, 0, v, 0, 0, 0, v],
      };
    }),
  );
}

for (const loose of [null, 4]) {
  const net = await adjustNetwork(observe(loose), {}, makeRunContext());
  console.log(`variance factor ${net.varianceFactor?.toFixed(2)}, redundancy ${net.redundancy}`);
  const suspects = net.suspects?.observations.map((o) => `${o.name} in ${o.frames.join(', ')}`) ?? [];
  console.log(suspects.length === 0 ? 'no target stands out' : `stands out: ${suspects.join('; ')}`);
  if (loose === 4 && !suspects.includes('T5 in front')) throw new Error('The loose target was not found.');
}
