import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { parseNumber, utf8Text } from '../../src/formats/ascii.ts';

const parse = (text: string): number => {
  const bytes = new TextEncoder().encode(`x${text} `);
  return parseNumber(bytes, 1, bytes.length - 1);
};

describe('parseNumber', () => {
  it('gives the same float64 as the platform, for any printed number', () => {
    const digits = fc.string({ unit: fc.constantFrom(...'0123456789'), minLength: 1, maxLength: 25 });
    fc.assert(
      fc.property(fc.double({ noNaN: true }), digits, digits, fc.integer({ min: -330, max: 330 }), (value, a, b, e) => {
        const texts = [
          String(value),
          a,
          `${a}.${b}`,
          `.${b}`,
          `${a}.`,
          `-${a}.${b}e${e}`,
          `+${a}E${e}`,
          `0.${'0'.repeat(Math.abs(e) % 30)}${b}`,
        ];
        if (Number.isFinite(value)) texts.push(value.toExponential(), value.toPrecision(9), value.toFixed(6));
        for (const text of texts) expect(parse(text)).toBe(Number(text));
      }),
      { numRuns: 500, seed: 1 },
    );
  });

  it.each(['', '-', '.', '1e', '1e+', '1.2.3', '1,5', '0x10', 'one', '1 ', '--1', 'e5'])(
    'takes "%s" for no number',
    (text) => {
      expect(parse(text)).toBeNaN();
    },
  );

  it('knows infinities as scanners write them', () => {
    expect(['inf', '-INF', '+Infinity'].map(parse)).toEqual([
      Number.POSITIVE_INFINITY,
      Number.NEGATIVE_INFINITY,
      Number.POSITIVE_INFINITY,
    ]);
  });
});

const codePoint = fc
  .oneof(fc.integer({ min: 0, max: 0x2ff }), fc.integer({ min: 0, max: 0x10ffff }))
  .filter((point) => point < 0xd800 || point > 0xdfff);

describe('utf8Text', () => {
  it('decodes like the platform, broken sequences too', () => {
    fc.assert(
      fc.property(fc.array(codePoint, { maxLength: 20 }), (points) => {
        const text = String.fromCodePoint(...points);
        const bytes = new TextEncoder().encode(text);
        expect(utf8Text(bytes)).toBe(new TextDecoder('utf-8', { ignoreBOM: true }).decode(bytes));
      }),
      { numRuns: 500, seed: 2 },
    );
    expect(utf8Text(Uint8Array.of(65, 0xff, 66, 0xc3))).toBe('A\ufffdB\ufffd');
  });
});
