// Two sessions of a warm aluminium object, tied by common targets: the distance between a place of each, at 20 degrees Celsius,
// with its uncertainty; and how much of that is the temperature.
// Expect: the truth lies within U, and knowing the temperature ten times better leaves U smaller.
import {
  adjustNetwork,
  distanceUncertainty,
  type Expansion,
  expansionOf,
  findThermalMaterial,
  makeRandom,
  makeRunContext,
  type NetworkObservation,
  referenceScale,
  type ThermalMaterial,
  thermalScaleTerms,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';

const expansion: Expansion = expansionOf(findThermalMaterial('aluminium-6061') as ThermalMaterial);
const temperatures = { front: 23, rear: 27 } as const;
const sigma = 0.02;
const random = makeRandom(4, 'example');
// Targets over the middle; one place at either end, six metres apart at 20 degrees.
const targets: Vec3[] = Array.from({ length: 10 }, () => [
  2400 + 1200 * random.uniform(),
  1500 * random.uniform(),
  1000 * random.uniform(),
]);
const ends: Record<keyof typeof temperatures, Vec3> = { front: [0, 700, 500], rear: [6000, 700, 500] };
const length = 6000;

for (const temperatureUncertainty of [1, 0.1]) {
  const observations: NetworkObservation[] = [];
  for (const frame of ['front', 'rear'] as const) {
    const noise = makeRandom(5, frame);
    // Captured warm, brought to 20 degrees with the stated temperature, which is the true one here.
    const grown = 1 / referenceScale(expansion.coefficient, temperatures[frame]);
    const reduced = referenceScale(expansion.coefficient, temperatures[frame]);
    targets.forEach((target, i) => {
      const measured = target.map((v) => grown * v + sigma * noise.normal());
      observations.push({
        kind: 'target',
        tie: 'targets',
        frame,
        target: `T${i + 1}`,
        position: measured.map((v) => reduced * v) as unknown as Vec3,
        covariance: [0, 4, 8].reduce((c, k) => c.with(k, sigma * sigma), Array<number>(9).fill(0)),
      });
    });
  }
  const scaleTerms = thermalScaleTerms(
    (['front', 'rear'] as const).map((frame) => ({
      session: frame,
      frame,
      material: 'aluminium-6061',
      expansion,
      temperature: { value: temperatures[frame], standardUncertainty: temperatureUncertainty },
    })),
  );
  const net = await adjustNetwork(observations, { scaleTerms }, makeRunContext());
  const place = (frame: keyof typeof temperatures): Vec3 => {
    const pose = net.frames.find((item) => item.frame === frame)?.jobFromFrame;
    if (!pose) throw new Error(`${frame} is not placed.`);
    return transformPoint(pose, ends[frame]);
  };
  if (net.jointCovariance === null) throw new Error('Nothing was adjusted.');
  const stated = distanceUncertainty(
    net.jointCovariance,
    { frame: 'front', point: place('front') },
    { frame: 'rear', point: place('rear') },
  );
  if (stated === null) throw new Error('The distance has no uncertainty.');
  const { distance, expanded } = stated;
  console.log(
    `temperature known to ${temperatureUncertainty} K (u): ${distance.toFixed(3)} mm, U = ${expanded.toFixed(3)} mm (k = 2)`,
  );
  if (!(Math.abs(distance - length) < expanded)) throw new Error('The truth does not lie within U.');
  if (temperatureUncertainty < 1 && expanded > 0.2) throw new Error('The temperature should have mattered more.');
}
