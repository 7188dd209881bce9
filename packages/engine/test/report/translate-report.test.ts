import { describe, expect, it } from 'vitest';
import { makeCatalogue } from '../../src/base/index.ts';
import { translateReport } from '../../src/report/index.ts';

const german = makeCatalogue({
  language: 'de',
  decimalSign: ',',
  texts: {
    used: 'benutzt',
    Frame: 'Rahmen',
    Job: 'Auftrag',
    Value: 'Wert',
    'from above': 'von oben',
    'Frame {0=} was not placed.': 'Rahmen {0} wurde nicht platziert.',
    'Tom & Ann <say> "so"': 'Tom & Anna <sagen> "so"',
  },
});

describe('translateReport', () => {
  it('translates texts, what is read aloud, and the language of the page', () => {
    const page =
      '<html lang="en"><p title="from above">from above</p><img alt="from above"><svg aria-label="from above"><text>0.5 mm</text></svg></html>';
    expect(translateReport(page, german)).toBe(
      '<html lang="de"><p title="von oben">von oben</p><img alt="von oben"><svg aria-label="von oben"><text>0,5 mm</text></svg></html>',
    );
    expect(translateReport(page, null)).toBe(page);
  });

  it('leaves names, commands, hashes, styles and drawings alone', () => {
    const page =
      '<style>.used{margin:0.5px}</style><h1>used</h1><table><tr><th>Frame</th><th>Value</th></tr><tr><td>used</td><td>used 1.5</td></tr><tr><td>used</td><td>1.5</td></tr></table><table><tr><td><b>Job</b> used</td></tr></table><pre>used 0.5</pre><code title="used">used</code><path d="M0.5 1.5"/>';
    expect(translateReport(page, german)).toBe(
      '<style>.used{margin:0.5px}</style><h1>used</h1><table><tr><th>Rahmen</th><th>Wert</th></tr><tr><td>used</td><td>used 1.5</td></tr><tr><td>used</td><td>1,5</td></tr></table><table><tr><td><b>Auftrag</b> used</td></tr></table><pre>used 0.5</pre><code title="used">used</code><path d="M0.5 1.5"/>',
    );
  });

  it('reads and writes entities, so that a name can never become markup', () => {
    expect(translateReport('<p>Tom &amp; Ann &lt;say&gt; &quot;so&quot;</p>', german)).toBe(
      '<p>Tom &amp; Anna &lt;sagen&gt; &quot;so&quot;</p>',
    );
    expect(translateReport('<b>Frame &lt;script&gt; was not placed.</b>', german)).toBe(
      '<b>Rahmen &lt;script&gt; wurde nicht platziert.</b>',
    );
  });
});
