import { readFileSync } from 'node:fs';
import { basename } from 'node:path';
import { describe, expect, it } from 'vitest';
import { sharedPath } from '../../../../tests/shared-data.ts';
import type { FormatError } from '../../src/base/index.ts';
import { bytesInMemory, type RawScan, readScanFile, unitProposal } from '../../src/formats/index.ts';
import { areaAndVolume, codesOf, quietContext, topology } from './sample-files.ts';

async function read(path: string): Promise<RawScan> {
  const file = sharedPath(`data/${path}`);
  if (file === null) throw new Error(`data/${path} is missing`);
  return readScanFile(bytesInMemory(basename(path), readFileSync(file)), {}, quietContext());
}

/** Points and faces as the SOURCE.md beside the files states them (counted there by an independent parser). */
const MESH_FORMATS: readonly (readonly [file: string, points: number | null, faces: number])[] = [
  ['assimp/OBJ/box.obj', 8, 6],
  ['assimp/OBJ/box_longline.obj', 8, 6],
  ['assimp/OBJ/multiple_spaces.obj', 4, 1],
  ['assimp/OBJ/cube_with_vertexcolors_uni.obj', 8, 12],
  ['assimp/PLY/cube.ply', 8, 6],
  ['assimp/PLY/cube_uv.ply', 24, 6],
  ['assimp/PLY/issue623.ply', 24, 0],
  ['assimp/STL/Spider_ascii.stl', null, 1368],
  ['assimp/STL/Wuson.stl', null, 3732],
  ['assimp/STL/sphereWithHole.stl', null, 285],
  ['assimp/STL/triangle_with_empty_solid.stl', 3, 1],
  ['opencv_contrib/horse.ply', 48485, 96966],
  ['trimesh/7_8ths_cube.stl', 14, 24],
  ['trimesh/BoxTextured.ply', 24, 12],
  ['trimesh/angle_block.STL', null, 704],
  ['trimesh/ballA.off', 1900, 3796],
  ['trimesh/comments.off', 8, 6],
  ['trimesh/whitespace.off', 8, 6],
  ['trimesh/cycloidal.ply', 21384, 43368],
  ['trimesh/metadata.ply', 4, 2],
  ['trimesh/multibody.stl', null, 32],
  ['trimesh/negative_indices.obj', 8, 6],
  ['trimesh/octagonal_pocket.ply', 1658, 3262],
  ['trimesh/plane.ply', 4, 1],
  ['trimesh/plate_holes.STL', null, 1252],
  ['trimesh/ply_points_ascii.ply', 8, 0],
  ['trimesh/points_ascii_with_lists.ply', 5, 0],
  ['trimesh/points_emptyascii.ply', 12, 0],
  ['trimesh/sphere.ply', 642, 1280],
  ['trimesh/two_objects.obj', 12, 16],
  ['trimesh/unit_cube.STL', 8, 12],
];

describe.skipIf(sharedPath('data/mesh-formats') === null)('samples of odd mesh files', () => {
  it.each(MESH_FORMATS)('%s: %s points, %s faces', async (file, points, faces) => {
    const scan = await read(`mesh-formats/${file}`);
    expect(scan.counts.facesRead).toBe(faces);
    if (points !== null) expect(scan.positions.length / 3).toBe(points);
    expect(scan.counts).toMatchObject({ pointsDropped: 0, facesDropped: 0, trianglesDropped: 0 });
    expect(scan.positions.every(Number.isFinite)).toBe(true);
  });

  it.each([
    ['trimesh/empty.ply', 'scan-without-points'],
    ['trimesh/ply_empty_bin.ply', 'scan-without-points'],
    ['trimesh/stl_empty_bin.stl', 'scan-without-points'],
    ['trimesh/obj_empty.obj', 'scan-without-points'],
    ['assimp/OFF/invalid.off', 'off-record-length'],
    ['trimesh/point_uv.ply.zip', 'scan-format-unknown'],
    // Its bytes were changed by a transfer as text, so that the coordinates are shifted: no truncation to be mended.
    ['assimp/PLY/pond.0.ply', 'scan-coordinates-absurd'],
  ])('refuses %s: %s', async (file, code) => {
    const error = await read(`mesh-formats/${file}`).then(
      () => null,
      (reason: FormatError) => reason,
    );
    expect(error).toMatchObject({ name: 'FormatError', code });
    expect(error?.hint.length).toBeGreaterThan(10);
  });

  it.each(['angle_block.STL', 'plate_holes.STL', 'unit_cube.STL'])(
    '%s is binary although it begins with "solid" [field report 50]',
    async (file) => {
      expect((await read(`mesh-formats/trimesh/${file}`)).encoding).toBe('binary-little-endian');
    },
  );

  it('reads colours of horse.ply, big-endian with confidence', async () => {
    const horse = await read('mesh-formats/opencv_contrib/horse.ply');
    expect(horse.encoding).toBe('binary-big-endian');
    expect(horse.colors?.length).toBe(3 * 48485);
  });

  it('welds the plate with holes shut, 203.2 x 304.8 x 12.7 mm', async () => {
    const plate = await read('mesh-formats/trimesh/plate_holes.STL');
    expect(topology(plate.triangles as Uint32Array)).toMatchObject({ boundaryEdges: 0, nonManifoldEdges: 0 });
    expect(unitProposal(plate)).toMatchObject({ unit: 'mm' });
    expect(unitProposal(plate).question).toContain('203.2 × 304.8 × 12.7 mm');
  });

  it('cuts the concave polygon to its own area', async () => {
    const scan = await read('mesh-formats/assimp/OBJ/concave_polygon.obj');
    const outline = [...(scan.positions as Float64Array)];
    // The polygon lies in a plane x = const; its corners stand in the file in the order of the face.
    const text = readFileSync(sharedPath('data/mesh-formats/assimp/OBJ/concave_polygon.obj') as string, 'latin1');
    const face =
      /^f (.*)$/m
        .exec(text)?.[1]
        .trim()
        .split(/\s+/)
        .map((word) => Number.parseInt(word, 10) - 1) ?? [];
    const shoelace = face.reduce((sum, a, i) => {
      const b = face[(i + 1) % face.length];
      return sum + (outline[3 * a + 1] * outline[3 * b + 2] - outline[3 * b + 1] * outline[3 * a + 2]) / 2;
    }, 0);
    expect(areaAndVolume(scan.positions, scan.triangles as Uint32Array).area).toBeCloseTo(Math.abs(shoelace), 9);
  });
});

describe.skipIf(sharedPath('data/cgal-data') === null)('meshes with known topology', () => {
  // V, F, Euler number and boundary edges as stated in SOURCE.md.
  it.each([
    ['anchor_dense', 3793, 7598, -6, 0],
    ['blade', 8231, 16222, null, 240],
    ['mech-holes-shark', 5246, 10192, null, 304],
    ['couplingdown', 1841, 3714, -16, 0],
    ['turbine', 9210, 18460, -20, 0],
    ['pinion', 650, 1300, 0, 0],
    ['rotor', 600, 1200, 0, 0],
    ['pipe', 160, 320, 0, 0],
    ['joint', 221, 446, -2, 0],
    ['handle', 1165, 2326, 2, 0],
    ['part', 175, 346, 2, 0],
    ['fandisk', 6475, 12946, 2, 0],
    ['elephant', 2775, 5558, null, null],
    ['ALSTOM_TEST4', 1138, 2033, null, 231],
  ])('%s.off: %i vertices, %i faces', async (name, vertices, faces, euler, boundaryEdges) => {
    const scan = await read(`cgal-data/meshes/${name}.off`);
    expect([scan.positions.length / 3, scan.counts.facesRead]).toEqual([vertices, faces]);
    const found = topology(scan.triangles as Uint32Array);
    if (euler !== null) expect(vertices - found.edges + faces).toBe(euler);
    if (boundaryEdges !== null) expect(found.boundaryEdges).toBe(boundaryEdges);
  });

  it('gives the same sphere from ascii PLY and from binary STL', async () => {
    const [ply, stl] = [await read('cgal-data/meshes/sphere.ply'), await read('cgal-data/meshes/sphere.stl')];
    expect([ply.positions.length / 3, stl.positions.length / 3]).toEqual([162, 162]);
    const a = areaAndVolume(ply.positions, ply.triangles as Uint32Array);
    const b = areaAndVolume(stl.positions, stl.triangles as Uint32Array);
    expect(b.area).toBeCloseTo(a.area, 5);
    expect(b.volume).toBeCloseTo(a.volume, 5);
  });

  it.each([
    ['b9_training.ply', 22300],
    ['circles.ply', 1101],
    ['colors.ply', 3],
    ['example.ply', 3],
    ['hippo1.ply', 6104],
    ['hippo2.ply', 4387],
    ['kitten.xyz', 5210],
    ['oni.ply', 1435],
    ['sphere_20k.xyz', 21000],
    ['spheres.ply', 5969],
  ])('%s: %i points', async (file, points) => {
    expect((await read(`cgal-data/points_3/${file}`)).positions.length / 3).toBe(points);
  });
});

describe.skipIf(sharedPath('data/pcl-test') === null)('PCD clouds', () => {
  it.each([
    ['bun0.pcd', 397, true],
    ['bun4.pcd', 361, false],
    ['sac_plane_test.pcd', 3283, true],
  ])('%s: %i points', async (file, points, normals) => {
    const scan = await read(`pcl-test/${file}`);
    expect(scan.positions.length / 3).toBe(points);
    expect(scan.normals !== null).toBe(normals);
  });

  it('reads cube.ply', async () => {
    const scan = await read('pcl-test/cube.ply');
    expect([scan.positions.length / 3, scan.counts.facesRead]).toEqual([24, 12]);
  });
});

describe.skipIf(sharedPath('data/step') === null)('one part in two formats', () => {
  it('featuretype: 3476 triangles, 5 x 2.5 x 1.375 inch, the same area in STL and PLY', async () => {
    const stl = await read('step/featuretype.STL');
    const ply = await read('step/featuretype.ply');
    for (const scan of [stl, ply]) {
      expect(scan.counts.facesRead).toBe(3476);
      const size = scan.bounds.max.map((value, k) => value - scan.bounds.min[k]);
      [5, 2.5, 1.375].forEach((value, k) => {
        expect(size[k]).toBeCloseTo(value, 5);
      });
    }
    expect(ply.positions.length / 3).toBe(5096);
    const areas = [stl, ply].map((scan) => areaAndVolume(scan.positions, scan.triangles as Uint32Array).area);
    expect(areas[0]).toBeCloseTo(areas[1], 4);
  });
});

describe.skipIf(sharedPath('data/stanford-bunny-scans') === null)('the Stanford bunny', () => {
  it('fused mesh: the published counts, topology, box and area [Stanford bunny, counts recomputed]', async () => {
    const scan = await read('stanford-bunny-scans/recon_bun_zipper.ply');
    expect([scan.positions.length / 3, scan.counts.facesRead]).toEqual([35947, 69451]);
    const triangles = scan.triangles as Uint32Array;
    expect(topology(triangles)).toEqual({
      usedVertices: 34834,
      edges: 104288,
      boundaryEdges: 223,
      nonManifoldEdges: 0,
    });
    [-0.09469, 0.032987, -0.061874].forEach((value, k) => {
      expect(scan.bounds.min[k]).toBeCloseTo(value, 5);
    });
    [0.061009, 0.187321, 0.0588].forEach((value, k) => {
      expect(scan.bounds.max[k]).toBeCloseTo(value, 5);
    });
    expect(areaAndVolume(scan.positions, triangles).area).toBeCloseTo(0.0571287861, 8);
    expect(unitProposal(scan).unit).toBe('m');
  });

  it.each([
    ['bun000', 40256],
    ['bun045', 40097],
    ['bun090', 30379],
    ['bun180', 40251],
    ['bun270', 31701],
    ['bun315', 35336],
    ['chin', 37738],
    ['ear_back', 32193],
    ['top2', 38298],
    ['top3', 36023],
  ])('range scan %s: %i points, triangulated, seen along +z', async (name, points) => {
    const scan = await read(`stanford-bunny-scans/${name}.ply`);
    expect(scan.positions.length / 3).toBe(points);
    // A height field without steps has nearly two triangles a point; borders and steps cost some.
    const triangleCount = (scan.triangles?.length ?? 0) / 3;
    expect(triangleCount).toBeGreaterThan(1.7 * points);
    expect(triangleCount).toBeLessThan(2 * points);
    expect(scan.viewDirection?.[2]).toBeGreaterThan(0.99);
    // Samples lie about 0.5 and 0.8 mm apart; five of each along both grid lines are the most an edge may span.
    const { positions, triangles } = scan;
    let longest = 0;
    for (let i = 0; triangles && i < triangles.length; i++) {
      const a = 3 * triangles[i];
      const b = 3 * triangles[i % 3 === 2 ? i - 2 : i + 1];
      longest = Math.max(
        longest,
        Math.hypot(
          positions[a] - positions[b],
          positions[a + 1] - positions[b + 1],
          positions[a + 2] - positions[b + 2],
        ),
      );
    }
    expect(longest).toBeLessThan(0.006);
    expect(codesOf(scan)).not.toContain('scan-truncated');
  });
});
