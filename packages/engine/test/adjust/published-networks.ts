import type {
  AdjustableObservation,
  DifferenceObservation,
  DistanceObservation,
  KnownPointObservation,
  Vec3,
} from '@lapjoint/engine';

/** Published networks are in metres; the engine speaks millimetres. */
export const MM = 1000;

export function distanceOf(pointA: string, pointB: string, metres: number, sigmaMetres: number): DistanceObservation {
  return {
    kind: 'distance',
    tie: 'distances',
    pointA,
    pointB,
    distance: metres * MM,
    sigma: sigmaMetres * MM,
  };
}

/** A levelled height difference: only z was measured. */
export function levelled(pointA: string, pointB: string, metres: number, sigmaMm: number): DifferenceObservation {
  return {
    kind: 'difference',
    tie: 'levelling',
    pointA,
    pointB,
    vector: [0, 0, metres * MM],
    information: [0, 0, 0, 0, 0, 0, 0, 0, 1 / sigmaMm ** 2],
  };
}

export function fixedPoint(point: string, metres: Vec3): KnownPointObservation {
  return {
    kind: 'known-point',
    tie: 'control',
    point,
    position: [metres[0] * MM, metres[1] * MM, metres[2] * MM],
    information: 'fixed',
  };
}

/** Holds the coordinates that a network in a plane or along the vertical does not speak of. */
export function heldAxes(point: string, axes: readonly (0 | 1 | 2)[]): KnownPointObservation {
  const information = new Array<number>(9).fill(0);
  for (const k of axes) information[4 * k] = 1;
  return { kind: 'known-point', tie: 'held axes', point, position: [0, 0, 0], information };
}

/** Rows of a table: names, then numbers. */
export const rows = (table: string): string[][] =>
  table
    .trim()
    .split('\n')
    .map((line) => line.trim().split(/[,\s]+/));

export const pointsOf = (observations: readonly AdjustableObservation[]): string[] => [
  ...new Set(
    observations.flatMap((o) => (o.kind === 'distance' || o.kind === 'difference' ? [o.pointA, o.pointB] : [])),
  ),
];

/** Free stations of the levelling network of Niemeier (2008), pp. 153-156: from, to, height difference m, length of line m. */
export const NIEMEIER_LEVELS = `
1,2,-8.206,621.118012422360
1,3,-5.734,1204.819277108430
2,3,2.481,450.450450450450
2,4,-4.433,800.0
3,4,-6.909,1000.0
3,5,-18.872,1098.901098901100
3,6,4.035,440.528634361233
4,5,-11.962,719.424460431655
5,6,22.904,833.333333333333`;

/** Vectors with covariances in m^2 of Ghilani (2010), ch. 17, pp. 337-352. */
export const GHILANI_VECTORS = `
A,C,11644.2232,3601.2165,3399.2550,9.884e-4,-9.580e-6,9.520e-6,9.377e-4,-9.520e-6,9.827e-4
A,E,-5321.7164,3634.0754,3173.6652,2.158e-4,-2.100e-6,2.160e-6,1.919e-4,-2.100e-6,2.005e-4
B,C,3960.5442,-6681.2467,-7279.0148,2.305e-4,-2.230e-6,2.070e-6,2.546e-4,-2.230e-6,2.252e-4
B,D,-11167.6076,-394.5204,-907.9593,2.700e-4,-2.750e-6,2.850e-6,2.721e-4,-2.720e-6,2.670e-4
D,C,15128.1647,-6286.7054,-6371.0583,1.461e-4,-1.430e-6,1.340e-6,1.614e-4,-1.440e-6,1.308e-4
D,E,-1837.7459,-6253.8534,-6596.6697,1.231e-4,-1.190e-6,1.220e-6,1.277e-4,-1.210e-6,1.283e-4
F,A,-1116.4523,-4596.1610,-4355.9062,7.475e-5,-7.900e-7,8.800e-7,6.593e-5,-8.100e-7,7.616e-5
F,C,10527.7852,-994.9377,-956.6246,2.567e-4,-2.250e-6,2.400e-6,2.163e-4,-2.270e-6,2.397e-4
F,E,-6438.1364,-962.0694,-1182.2305,9.442e-5,-9.200e-7,1.040e-6,9.959e-5,-8.900e-7,8.826e-5
F,D,-4600.3787,5291.7785,5414.4311,9.330e-5,-9.900e-7,9.000e-7,9.875e-5,-9.900e-7,1.204e-4
F,B,6567.2311,5686.2926,6322.3917,6.643e-5,-6.500e-7,6.900e-7,7.465e-5,-6.400e-7,6.048e-5
B,F,-6567.2310,-5686.3033,-6322.3807,5.512e-5,-6.300e-7,6.100e-7,7.472e-5,-6.300e-7,6.629e-5
A,F,1116.4577,4596.1553,4355.9141,6.619e-5,-8.000e-7,9.000e-7,8.108e-5,-8.200e-7,9.376e-5`;

/** Stations and distances to MS in m, sigma 0.05 m, of Blankenbach & Willert (2009), AVN 8-9, 320-327. */
export const BLANKENBACH = `
51,-8.62,27.42,10.29,8.20
37,-4.95,27.30,10.04,3.85
31,-4.85,20.69,10.51,4.35
102,0.52,22.59,9.77,3.51
331,-6.12,25.48,10.92,3.98
35,0.45,27.39,10.75,4.37
103,0.61,17.19,9.71,8.17
101,-7.88,22.45,10.16,5.73`;

/** Approximate and published adjusted coordinates, m, of Hoepke (1980), Ex. 35.5, pp. 120-123 "Sattenhausen". */
export const HOEPKE_POINTS = `
20,3579041.416,5707194.412,3579041.4042,5707194.4039
75,3575403.277,5707682.612,3575403.2853,5707682.6565
86,3575322.061,5708700.952,3575322.0203,5708700.9554
87,3576581.778,5709938.106,3576581.7857,5709938.0995
1006,3578284.289,5708758.641,3578284.2920,5708758.6275
1011,3577052.332,5708103.204,3577052.3287,5708103.2070
1059,3576852.894,5706633.642,3576852.9606,5706633.5764
1087,3576213.699,5709199.889,3576213.6691,5709199.9319`;

/** Distances, m, sigma 1 mm. 1059-75 as printed in the book's list; its printed results used 1789.449. */
export const HOEPKE_DISTANCES = `
86,1006,2962.832
86,87,1765.657
86,1087,1021.768
86,75,1021.536
86,1011,1830.646
86,20,4012.921
86,1059,2572.516
1087,87,824.863
1087,20,3466.722
1087,1059,2644.789
1087,75,1720.13
1087,1006,2117.134
1087,1011,1380.633
1006,75,3075.373
1006,20,1737.824
1006,1059,2562.134
1006,1011,1395.459
1006,87,2071.154
1011,87,1894.263
1011,75,1701.824
1011,1059,1483.088
1011,20,2186.853
1059,20,2259.167
1059,75,1789.499
1059,87,3315.63
20,87,3684.782
20,75,3670.735`;
