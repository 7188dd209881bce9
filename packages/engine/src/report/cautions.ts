/**
 * Cautions that go with every report and handover (common practice of the trade; laser classes: IEC 60825-1).
 * Local rules and licensed practice come first.
 */
export const CAUTIONS: readonly string[] = [
  'The accuracy statement is an estimate from the evidence of this job. It is no calibration certificate; where one is needed, an accredited laboratory gives it.',
  'Laser and bright-light instruments: obey the IEC 60825-1 class on the instrument sheet; nobody looks into the beam or its mirror image.',
  'An object on stands or jacks is secured against rolling and falling before anyone reaches under it.',
  'Doors, lids and springs pinch. High-voltage, hot, pressurised and moving systems are made safe first, by people licensed for it.',
  'Local rules and the rules of the site come before this page.',
];
