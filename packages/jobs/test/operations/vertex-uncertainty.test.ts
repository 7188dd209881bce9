import { join } from 'node:path';
import { type FusedSurface, pointUncertainty } from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { commandsOfHistory, openJob } from '../../src/index.ts';
import { vertexUncertainty } from '../../src/operations/vertex-uncertainty.ts';
import { decodeSurfaceAttributes, encodeSurfaceAttributes } from '../../src/store/surface-blob.ts';
import { cabinCovariance, writePlacedJob } from '../fixtures/placed-job.ts';
import { temporaryFolder } from '../fixtures/temporary-folder.ts';

const job = join(temporaryFolder(), 'cabin');
const thermal = {
  temperatureCelsius: -3.5,
  temperatureUncertainty: 0.5,
  material: 'aluminium',
  expansion: 22.8e-6,
  expansionUncertainty: 7.5e-7,
};
await writePlacedJob(job, {
  sessions: [
    { name: 'outside', frame: 'outside', instrument: 'tracked-laser', thermal },
    { name: 'inside', frame: 'inside', instrument: 'unknown' },
  ],
  points: [[[0, 0, 0]], [[1, 0, 0]]],
  covariance: cabinCovariance(),
});

/** Three vertices on a line: of `outside`, `inside`, `outside`. */
const SURFACE: FusedSurface = {
  origin: [1000, 0, 0],
  positions: Float32Array.of(0, 0, 0, 2000, 0, 0, 1000, 500, 0),
  normals: new Float32Array(9),
  colors: null,
  colored: null,
  triangles: Uint32Array.of(0, 1, 2),
  scanIds: ['scan-1', 'scan-2'],
  sourceOffsets: Uint32Array.of(0, 1, 2, 3),
  sourceScans: Uint16Array.of(0, 1, 0),
  sourceShares: Uint8Array.of(255, 255, 255),
  dominantSource: Uint16Array.of(0, 1, 0),
  sigmaNoise: Float32Array.of(0.5, 0.07, 0.5),
  sigmaAlignment: Float32Array.of(0.2, 0.4, 0.2),
  disagreement: new Float32Array(3),
  resolution: 1,
  findings: [],
};

describe('the stated uncertainty of every vertex', () => {
  it('is that of the frame of its main scan there, and of the points of that scan', async () => {
    const { document } = await openJob(job);
    const stated = vertexUncertainty(document, SURFACE, cabinCovariance());
    // Sheet: noise 0.03 mm and constant part 0.04 mm; scale 15e-6 over 1 m and over hypot(2000, 500).
    const own = 0.03 ** 2 + 0.04 ** 2 / 2;
    expect(stated[0]).toBeCloseTo(2 * Math.sqrt(own + 0.015 ** 2), 6);
    expect(stated[2]).toBeCloseTo(2 * Math.sqrt(own + (15e-6 * Math.hypot(2000, 500)) ** 2), 6);
    // Nothing is known of the second instrument: the noise that fusion found stands for it.
    const placed = pointUncertainty(cabinCovariance(), 'inside', [3000, 0, 0])?.largestSemiAxis ?? 0;
    expect(stated[1]).toBeCloseTo(Math.hypot(placed, 2 * 0.07), 5);
  });

  it('comes from the fusion alone where there is no joint covariance', async () => {
    const { document } = await openJob(job);
    const stated = vertexUncertainty(document, SURFACE, null);
    expect(stated[1]).toBeCloseTo(2 * Math.hypot(0.4, 0.07), 6);
  });

  it('is kept with the surface, and missing in surfaces of early versions', () => {
    const expandedUncertainty = Float32Array.of(1, 2, 3);
    const bytes = (kept: Float32Array | null) =>
      Buffer.concat(encodeSurfaceAttributes({ ...SURFACE, expandedUncertainty: kept }));
    expect(decodeSurfaceAttributes(bytes(expandedUncertainty)).expandedUncertainty).toEqual(expandedUncertainty);
    expect(decodeSurfaceAttributes(bytes(null)).expandedUncertainty).toBeNull();
  });
});

describe('commands that repeat a job', () => {
  it('state temperature and coefficient as they were used', async () => {
    const { history, document } = await openJob(job);
    expect(commandsOfHistory(history, document.name)[1]).toContain(
      '--temperature -3.5 --temperature-u 0.5 --material aluminium --expansion-u 7.5e-7',
    );
  });
});
