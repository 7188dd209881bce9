/** Classes of capturing devices that every job knows. `unknown`: nothing is assumed, noise is read from the data. */
export type InstrumentClass = 'tracked-laser' | 'handheld-laser' | 'structured-light' | 'touch-probe' | 'unknown';

/**
 * What a class of instruments can do. Figures are typical of the class, not of a device: for a statement of accuracy
 * that others rely on, the sheet of the very instrument counts.
 *
 * Units    mm, mm per m, metres where the name says so.
 */
export interface Instrument {
  readonly class: InstrumentClass;
  readonly title: string;
  /** Standard deviation of one point along the surface normal; null: estimated from each scan. */
  readonly noise: number | null;
  /** Usual distance between neighbouring points. */
  readonly resolution: number | null;
  /** Width and height seen at once. */
  readonly field: readonly [number, number] | null;
  /** Least and greatest distance from instrument to surface. */
  readonly standOff: readonly [number, number] | null;
  /** Length error that no residual shows: constant part and part per metre, as standard uncertainties. */
  readonly volumetric: { readonly constant: number; readonly perMetre: number } | null;
  /** What the instrument needs on site. */
  readonly needs: string;
  /** Caution about light and contact, shown wherever the instrument is named. */
  readonly caution: string;
}

/** Sheets of the classes. Invented round figures in the usual range of each trade class. */
export const INSTRUMENTS: Readonly<Record<InstrumentClass, Instrument>> = {
  'tracked-laser': {
    class: 'tracked-laser',
    title: 'Laser line scanner, optically tracked',
    noise: 0.03,
    resolution: 0.2,
    field: [300, 250],
    standOff: [200, 500],
    volumetric: { constant: 0.04, perMetre: 0.015 },
    needs: 'Line of sight between tracker and scanner; a dynamic reference on the object if it can move.',
    caution:
      'Laser: read the class after IEC 60825-1 on the instrument (often 2M); never look into the beam, no optics.',
  },
  'handheld-laser': {
    class: 'handheld-laser',
    title: 'Handheld laser scanner with targets',
    noise: 0.03,
    resolution: 0.2,
    field: [275, 250],
    standOff: [200, 450],
    volumetric: { constant: 0.02, perMetre: 0.03 },
    needs: 'Targets about every 100 mm on or around the object.',
    caution: 'Laser: read the class after IEC 60825-1 on the instrument (often 2 or 2M); never look into the beam.',
  },
  'structured-light': {
    class: 'structured-light',
    title: 'Structured-light scanner',
    noise: 0.05,
    resolution: 0.3,
    field: [380, 380],
    standOff: [400, 900],
    volumetric: { constant: 0.05, perMetre: 0.1 },
    needs: 'Steady light; surfaces neither shiny nor black; overlap from shot to shot.',
    caution:
      'Bright flashing light: do not stare into it, warn people prone to seizures. With a laser source: class after IEC 60825-1.',
  },
  'touch-probe': {
    class: 'touch-probe',
    title: 'Touch probe, optically tracked',
    noise: 0.025,
    resolution: null,
    field: null,
    standOff: null,
    volumetric: { constant: 0.04, perMetre: 0.015 },
    needs: 'Line of sight between tracker and probe; the tip radius in use.',
    caution: 'The tip scratches soft surfaces. Tracker light: read the class after IEC 60825-1 on the instrument.',
  },
  unknown: {
    class: 'unknown',
    title: 'Instrument not stated',
    noise: null,
    resolution: null,
    field: null,
    standOff: null,
    volumetric: null,
    needs: 'State the instrument so that its limits can be used.',
    caution: 'If it uses a laser, read the class after IEC 60825-1 on the instrument and never look into the beam.',
  },
};
