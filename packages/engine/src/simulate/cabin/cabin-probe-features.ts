import type { Vec3 } from '../../math/index.ts';
import { cylinderContacts, type ProbeContact, type ProbeFeature } from '../probe.ts';
import { SUSPENSION_PIN_HEIGHT } from './suspension.ts';

function planeContacts(normal: Vec3, places: readonly Vec3[]): ProbeContact[] {
  return places.map((position) => ({ position, normal }));
}

/** What the touch probe touches: the pins and bushings of the suspension, its foot and the faces beside them. Nominal geometry, model coordinates, mm. */
export function cabinProbeFeatures(): ProbeFeature[] {
  const z = SUSPENSION_PIN_HEIGHT;
  const gripPin = (name: string, x: number): ProbeFeature => ({
    name,
    contacts: [
      ...cylinderContacts([x, 0, 2830], [0, 1, 0], 18, [-26, -38], 5),
      ...cylinderContacts([x, 0, 2830], [0, 1, 0], 18, [184, 198], 5),
    ],
  });
  return [
    {
      name: 'suspension-pin',
      contacts: cylinderContacts([0, 0, z], [0, 1, 0], 32, [-147, -133, 133, 147], 8),
    },
    { name: 'suspension-bushing', contacts: cylinderContacts([0, 0, z], [0, 1, 0], 60, [117], 8) },
    {
      name: 'pin-head-face',
      contacts: planeContacts(
        [0, 1, 0],
        [0, 1, 2, 3, 4, 5].map(
          (k): Vec3 => [30 * Math.cos((k * Math.PI) / 3), 176, z + 30 * Math.sin((k * Math.PI) / 3)],
        ),
      ),
    },
    {
      name: 'foot-top',
      contacts: planeContacts(
        [0, 0, 1],
        [
          [-215, -140, 1357],
          [215, -140, 1357],
          [-215, 140, 1357],
          [215, 140, 1357],
          [-100, 0, 1357],
          [100, 10, 1357],
        ],
      ),
    },
    {
      name: 'cheek-face',
      contacts: planeContacts(
        [0, -1, 0],
        [
          [-150, -110, 1380],
          [150, -110, 1380],
          [-80, -110, 1460],
          [80, -110, 1460],
          [-70, -110, 1530],
          [70, -110, 1530],
        ],
      ),
    },
    gripPin('grip-pin-a', -120),
    gripPin('grip-pin-b', 120),
    { name: 'roller', contacts: cylinderContacts([186, 425, 2718], [1, 0, 0], 46, [12, 28], 8) },
    { name: 'spring-housing', contacts: cylinderContacts([205, 110, 2800], [1, 0, 0], 44, [60, 110, 150], 6) },
  ];
}
