import {
  adjustNetwork,
  isotropicCovariance,
  makeRunContext,
  type NetworkAdjustment,
  type NetworkObservation,
  type PointResidual,
  poseToMatrix16,
  type TargetObservation,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';

// Constructed network of three scans and eight targets; adjusted by two independent programs (Gauss-Newton, and a general
// least-squares solver on rotation vectors). x, y, z in each scan's frame, mm; sigma per coordinate: A 0.02, B 0.05, C 0.03.
const OBSERVED = `A,T1,-0.0113,0.0229,-0.0160
A,T2,1999.9949,100.0109,49.9826
A,T3,4000.0097,-49.9998,300.0037
A,T4,4199.9831,1600.0150,249.9908
A,T5,2100.0218,1749.9958,899.9757
A,T6,-50.0017,1500.0348,400.0251
B,T3,-1606.9548,-2036.1073,-294.6333
B,T4,-922.8558,-3309.1557,-1116.8339
B,T5,1030.4177,-2414.4187,-627.9500
B,T6,2487.9668,-771.9051,-964.0490
B,T7,1563.2916,-1274.2588,254.5655
B,T8,-273.4627,-2490.3037,271.5637
C,T1,85.3083,928.0401,-2628.9687
C,T2,1157.9181,-642.0215,-3258.7488
C,T5,1217.7375,-1517.8955,-1620.3415
C,T6,343.5222,473.2593,-1166.4261
C,T7,-116.2002,-841.4220,-1974.5120
C,T8,1060.5111,-2468.7122,-2879.7809`;
const SIGMA: Record<string, number> = { A: 0.02, B: 0.05, C: 0.03 };

const POSES: Record<string, { q: number[]; t: number[]; sdTurn: number[]; sdShift: number[] }> = {
  B: {
    q: [0.3023084819, 0.0789788003, -0.2303886542, 0.9215709408],
    t: [1500.0385179, -800.0312115, 250.0146969],
    sdTurn: [3.1376e-5, 1.4741e-5, 1.3598e-5],
    sdShift: [3.5196e-2, 3.0737e-2, 6.8272e-2],
  },
  C: {
    q: [0.629458877, -0.6095540561, 0.1523897058, 0.4571681884],
    t: [-299.9839217, 2500.01478, 1200.0249691],
    sdTurn: [2.0189e-5, 1.4265e-5, 1.309e-5],
    sdShift: [2.8679e-2, 3.1956e-2, 4.4824e-2],
  },
};
const TARGETS: Record<string, number[]> = {
  T1: [0.0031818, 0.0214431, -0.005634, 0.017825, 0.0181, 0.01877],
  T2: [1999.9855126, 100.0107848, 49.9786453, 0.017744, 0.01807, 0.018519],
  T3: [4000.0067816, -49.9947759, 299.9963399, 0.018985, 0.019113, 0.019526],
  T4: [4199.9819322, 1600.0039479, 249.9868308, 0.0189, 0.019181, 0.019454],
  T5: [2100.0170372, 1750.0058317, 899.9988835, 0.017342, 0.017605, 0.018215],
  T6: [-49.9979454, 1500.0323683, 400.0068345, 0.017056, 0.017922, 0.01866],
  T7: [1000.022574, 799.9718719, 1399.9956405, 0.03268, 0.036378, 0.031268],
  T8: [3199.9913373, 699.986202, 1349.960028, 0.032556, 0.040236, 0.038277],
};

function observe(spoil?: { frame: string; target: string; dy: number }): TargetObservation[] {
  return OBSERVED.split('\n').map((line) => {
    const [frame, target, x, y, z] = line.split(',') as [string, string, string, string, string];
    const dy = spoil?.frame === frame && spoil.target === target ? spoil.dy : 0;
    return {
      kind: 'target',
      tie: `targets ${frame}`,
      frame,
      target,
      position: [Number(x), Number(y) + dy, Number(z)],
      covariance: isotropicCovariance(SIGMA[frame] as number),
    };
  });
}

function near(actual: number, expected: number, tolerance: number): void {
  expect(Math.abs(actual - expected), `${actual} is not ${expected}`).toBeLessThanOrEqual(tolerance);
}

const run = (observations: readonly NetworkObservation[], options = {}): Promise<NetworkAdjustment> =>
  adjustNetwork(observations, { enlarge: 'never', ...options }, makeRunContext());

const ranked = (result: NetworkAdjustment): PointResidual[] =>
  [...result.points].sort((x, y) => (y.pointTest ?? 0) - (x.pointTest ?? 0));

describe('scan network example', () => {
  it('base case: sums, poses and targets', async () => {
    const result = await run(observe());
    expect(result.converged).toBe(true);
    expect(result.observationCount).toBe(54);
    expect(result.unknownCount).toBe(36);
    expect(result.redundancy).toBe(18);
    near(result.weightedSumSquares, 22.37354, 1e-6);
    near(result.varianceFactor as number, 1.242974, 1e-6);
    near(
      result.points.reduce((sum, p) => sum + p.redundancy, 0),
      18,
      1e-9,
    );
    near(
      result.ties.reduce((sum, t) => sum + t.redundancy, 0),
      18,
      1e-9,
    );
    expect(result.frames[0]).toMatchObject({ frame: 'A', status: 'fixed' });
    for (const [name, expected] of Object.entries(POSES)) {
      const pose = result.frames.find((f) => f.frame === name)!;
      expect(pose.status).toBe('adjusted');
      expected.q.forEach((q, k) => {
        near(pose.jobFromFrame!.rotation[k] as number, q, 6e-11);
      });
      expected.t.forEach((t, k) => {
        near(pose.jobFromFrame!.translation[k] as number, t, 1e-5);
      });
      // Rotations do not depend on the reference point.
      expected.sdTurn.forEach((sd, k) => {
        near(Math.sqrt(pose.covariance![7 * (k + 3)] as number), sd, 6e-10);
      });
      // Standard deviation of the translation itself: the image of the scan's origin.
      const at = pose.jobFromFrame!.translation;
      const arm = at.map((t, k) => t - (pose.covarianceReference![k] as number));
      const rows = [
        [1, 0, 0, 0, arm[2]!, -arm[1]!],
        [0, 1, 0, -arm[2]!, 0, arm[0]!],
        [0, 0, 1, arm[1]!, -arm[0]!, 0],
      ];
      rows.forEach((row, k) => {
        let variance = 0;
        for (let i = 0; i < 6; i++)
          for (let j = 0; j < 6; j++) variance += row[i]! * row[j]! * pose.covariance![6 * i + j]!;
        near(Math.sqrt(variance), expected.sdShift[k] as number, 6e-7);
      });
    }
    for (const [name, expected] of Object.entries(TARGETS)) {
      const target = result.targets.find((t) => t.name === name)!;
      for (let k = 0; k < 3; k++) {
        near(target.position[k] as number, expected[k] as number, 1e-5);
        near(Math.sqrt(target.covariance[4 * k] as number), expected[k + 3] as number, 6e-7);
      }
    }
    const worst = ranked(result)[0]!;
    expect([worst.frames[0], worst.name]).toEqual(['A', 'T5']);
    near(worst.pointTest as number, 8.652, 6e-4);
    expect(result.suspects).toBeNull();
  });

  it('variant a: 0.5 mm on one target seen three times is found where it is', async () => {
    const result = await run(observe({ frame: 'B', target: 'T5', dy: 0.5 }));
    near(result.weightedSumSquares, 62.704243, 1e-6);
    const [first, second] = ranked(result) as [PointResidual, PointResidual];
    expect([first.frames[0], first.name]).toEqual(['B', 'T5']);
    near(first.pointTest as number, 44.174, 6e-4);
    near(second.pointTest as number, 12.603, 6e-4);
    expect(result.suspects?.observations.map((p) => `${p.frames[0]} ${p.name}`)).toEqual(['B T5']);
    near(result.suspects?.limit as number, 16.2662, 5e-5);
  });

  it('variant b: on a target that two scans see it cannot be told which, and it is said so', async () => {
    const context = makeRunContext();
    const result = await adjustNetwork(observe({ frame: 'B', target: 'T7', dy: 0.5 }), {}, context);
    near(result.weightedSumSquares, 88.86752, 1e-6);
    const [first, second] = ranked(result) as [PointResidual, PointResidual];
    expect([first, second].map((p) => `${p.frames[0]} ${p.name}`).sort()).toEqual(['B T7', 'C T7']);
    near(first.pointTest as number, 69.671, 6e-4);
    near(second.pointTest as number, first.pointTest as number, 1e-6);
    const finding = context.findings.items.find((f) => f.code === 'observation-stands-out');
    expect(finding?.message).toContain('cannot tell which');
    expect(finding?.message).toContain('target T7 in B');
    expect(finding?.message).toContain('target T7 in C');
    // The global test fails, so what is stated is enlarged, and that is said.
    near(result.enlargement, 88.86752 / 18, 1e-6);
    expect(context.findings.items.some((f) => f.code === 'network-misfit')).toBe(true);
  });

  it('loop closure A <- B <- C <- A', async () => {
    const result = await run(observe());
    expect(result.closures.length).toBe(1);
    const loop = result.closures[0]!;
    expect(loop.frames).toEqual(['A', 'B', 'C']);
    near(loop.angle, 64.284e-6, 6e-10);
    [0.084673, -0.035318, -0.028481].forEach((t, k) => {
      near(loop.closingPose.translation[k] as number, t, 1e-6);
    });
  });

  it('the order of observations and frames does not matter; another fixed frame changes no residual', async () => {
    const base = await run(observe());
    const reversed = await run([...observe()].reverse(), { datum: { kind: 'fixed-frame', frame: 'A' } });
    const other = await run(observe(), { datum: { kind: 'fixed-frame', frame: 'C' } });
    near(reversed.weightedSumSquares, base.weightedSumSquares, 1e-9);
    near(other.weightedSumSquares, base.weightedSumSquares, 1e-8);
    for (const f of base.frames) {
      const g = reversed.frames.find((x) => x.frame === f.frame)!;
      poseToMatrix16(f.jobFromFrame!).forEach((v, k) => {
        near(poseToMatrix16(g.jobFromFrame!)[k] as number, v, 1e-8);
      });
    }
    for (const p of base.points) {
      const q = other.points.find((x) => x.name === p.name && x.frames[0] === p.frames[0])!;
      near(q.redundancy, p.redundancy, 1e-9);
      near(q.pointTest as number, p.pointTest as number, 1e-6);
      near(q.standardised, p.standardised, 1e-7);
    }
  });
});
