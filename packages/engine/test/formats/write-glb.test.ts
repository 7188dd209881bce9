import { WebIO } from '@gltf-transform/core';
import { describe, expect, it } from 'vitest';
import { type SurfaceOutput, writeGlb } from '../../src/formats/index.ts';
import { collector, quietContext } from './sample-files.ts';

const surface: SurfaceOutput = {
  origin: [10_000, 20_000, -3000],
  positions: Float32Array.of(0, 0, 0, 1000.1, 0, 0, 0, -500.3, 0, 0, 0, 250.7),
  normals: Float32Array.of(0, 0, 2, 1, 0, 0, 0, 1, 0, 0, 0, -1),
  colors: Uint8Array.of(255, 0, 0, 0, 255, 0, 128, 128, 128, 10, 10, 10),
  triangles: Uint32Array.of(0, 1, 2, 0, 3, 1),
  uncertainty: Float32Array.of(0.1, 0.2, 0.3, 0.4),
};

async function glb(data: SurfaceOutput): Promise<Uint8Array> {
  const out = collector();
  await writeGlb(data, out.sink, quietContext());
  return out.bytes();
}

describe('writeGlb', () => {
  it('is read by another implementation: metres, +Y up, (x, y, z) -> (x, z, -y) / 1000 [glTF 2.0, 3.4]', async () => {
    const document = await new WebIO().readBinary(await glb(surface));
    const root = document.getRoot();
    const node = root.listNodes()[0];
    expect(node.getTranslation()).toEqual([10, -3, -20]);
    const primitive = root.listMeshes()[0].listPrimitives()[0];
    expect([...(primitive.getIndices()?.getArray() ?? [])]).toEqual([0, 1, 2, 0, 3, 1]);
    const position = primitive.getAttribute('POSITION');
    const expected = [0, 0, 0, 1.0001, 0, 0, 0, 0, 0.5003, 0, 0.2507, 0];
    [...(position?.getArray() ?? [])].forEach((value, i) => {
      expect(value).toBeCloseTo(expected[i], 6);
    });
    expect([...(primitive.getAttribute('NORMAL')?.getArray() ?? [])]).toEqual([0, 1, 0, 1, 0, 0, 0, 0, -1, 0, -1, 0]);
    // Linear value of sRGB 128: 0.215861 (IEC 61966-2-1).
    const gray = primitive.getAttribute('COLOR_0')?.getElement(2, []) ?? [];
    expect(gray[0]).toBeCloseTo(0.215861, 4);
    expect(primitive.getAttribute('_UNCERTAINTY')?.getElement(2, [])[0]).toBeCloseTo(0.0003, 9);
  });

  it('states the exact minimum and maximum of what it wrote, and its own length [glTF 2.0, 3.4]', async () => {
    const bytes = await glb(surface);
    const view = new DataView(bytes.buffer, bytes.byteOffset);
    expect(view.getUint32(0, true)).toBe(0x46546c67);
    expect(view.getUint32(4, true)).toBe(2);
    expect(view.getUint32(8, true)).toBe(bytes.length);
    const jsonLength = view.getUint32(12, true);
    expect(view.getUint32(16, true)).toBe(0x4e4f534a);
    expect(view.getUint32(20 + jsonLength + 4, true)).toBe(0x004e4942);
    const json = JSON.parse(new TextDecoder().decode(bytes.subarray(20, 20 + jsonLength)));
    const start = 28 + jsonLength;
    for (let k = 0; k < 3; k++) {
      const values = [0, 1, 2, 3].map((i) => view.getFloat32(start + 12 * i + 4 * k, true));
      expect(json.accessors[0].min[k]).toBe(Math.min(...values));
      expect(json.accessors[0].max[k]).toBe(Math.max(...values));
    }
    for (const bufferView of json.bufferViews) expect(bufferView.byteOffset % 4).toBe(0);
    expect(JSON.stringify(json)).not.toMatch(/null|NaN/);
  });

  it('writes clouds as points, and refuses what is not finite', async () => {
    const document = await new WebIO().readBinary(
      await glb({ origin: [0, 0, 0], positions: Float32Array.of(1, 2, 3) }),
    );
    const primitive = document.getRoot().listMeshes()[0].listPrimitives()[0];
    expect(primitive.getMode()).toBe(0);
    expect(primitive.getIndices()).toBeNull();
    await expect(glb({ origin: [0, 0, 0], positions: Float32Array.of(1, Number.NaN, 3) })).rejects.toThrow(RangeError);
    await expect(glb({ origin: [0, 0, 0], positions: new Float32Array() })).rejects.toThrow(RangeError);
  });
});
