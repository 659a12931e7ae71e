// Lines of a spec on the level of a band, and lines that hold for a length of programme: measured as SciPy measures them,
// judged, and told in every document. Common practice: no published spec that we know has a number for a band.
import { readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { fileFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { ffmpeg, mixMaster } from '../testkit/cli-programmes.ts'
import { byNumpy } from '../testkit/outside.ts'

const folder = fileFolder()
const stereo = join(folder, 'stereo.wav')
const mix = join(folder, 'mix.wav')

/** A user's spec with more lines. */
function specFile(name: string, lines: object): string {
  const path = join(folder, `${name}.json`)
  const loudness = { targetLkfs: -24, toleranceBelowLu: 0.5, toleranceAboveLu: 0.5 }
  const words = { title: 'Harbour Television', purpose: 'Regattas.', edition: '1986' }
  const spec = { specVersion: 1, id: name, ...words, programmeLoudness: loudness, maxTruePeakDbtp: -2, ...lines }
  writeFileSync(path, JSON.stringify(spec))
  return path
}

type Level = { readonly shortTerm: number; readonly programme: number; readonly seconds: number }
const levelOf = (path: string, fromHz: number, toHz: number) =>
  byNumpy<Level>('band_level', path, String(fromHz), String(toHz))

// biome-ignore lint/suspicious/noExplicitAny: a parsed document, looked at by the tests
type Document = any
const bandFindings = ({ findings }: Document) => findings.filter(({ id }: { id: string }) => id === 'band-level')

beforeAll(() => {
  mixMaster(stereo, { musicDb: -24, speechDb: -6, seconds: 32 })
  // A low drone under 10 s, 61 Hz, in three channels at different levels; the LFE holds a tone of the same band.
  const drone = (gain: number) => `${gain}*sin(2*PI*61*t)*between(t\\,8\\,18)`
  const five = 'pan=5.1|FL=FL|FR=FR|FC=0.5*FL+0.5*FR|LFE=0*FL|BL=0.3*FR|BR=0.3*FL'
  const drones = `aevalsrc=${[0.2, 0.2, 0.1, 0, 0.05, 0].map(drone).join('|')}:s=48000:d=32:c=5.1`
  const lfe = 'aevalsrc=0|0|0|0.3*sin(2*PI*50*t)|0|0:s=48000:d=32:c=5.1'
  const graph = `[0:a]${five}[a];${drones}[b];${lfe}[c];[a][b][c]amix=inputs=3:normalize=0:duration=first[o]`
  ffmpeg('-i', stereo, '-filter_complex', graph, '-map', '[o]', '-c:a', 'pcm_s24le', mix)
}, PREPARATION_MS)

describe('the level of a band', () => {
  test.each([
    [30, 120],
    [0, 80],
    [2000, 8000],
    [5000, 0],
  ])(
    'from %d to %d Hz it is what SciPy reads, in 3 s and over the whole, as it is and over the loudness',
    async (fromHz, toHz) => {
      const corners = { ...(fromHz > 0 && { fromHz }), ...(toHz > 0 && { toHz }) }
      const spec = specFile(`band-${fromHz}-${toHz}`, {
        bandLevels: [
          { id: 'in-3-s', ...corners, maxDbfs: 0 },
          { id: 'whole', ...corners, over: 'programme', maxDbfs: 0 },
          { id: 'beside', ...corners, maxOverLoudnessDb: 30 },
        ],
      })
      const expected = levelOf(mix, fromHz, toHz)
      const run = await plimsollMust(['measure', mix, '--spec', spec, '--json'], 1)
      const [{ bandLevels, programmeLoudnessLkfs }] = run.json().files
      expect(bandLevels['in-3-s']).toBeCloseTo(expected.shortTerm, 2)
      expect(bandLevels.whole).toBeCloseTo(expected.programme, 2)
      expect(bandLevels.beside).toBeCloseTo(expected.shortTerm - programmeLoudnessLkfs, 2)
    },
    PREPARATION_MS,
  )

  test(
    'above its line it fails with the place, and is a warning where the spec says so',
    async () => {
      const at = levelOf(mix, 30, 120)
      const line = { id: 'low-end', fromHz: 30, toHz: 120, maxDbfs: Math.floor(at.shortTerm) - 3, clause: '7.2' }
      const failing = await plimsollMust(
        ['measure', mix, '--spec', specFile('low', { bandLevels: [line] }), '--json'],
        1,
      )
      const [found] = bandFindings(failing.json().files[0])
      expect(found).toMatchObject({ severity: 'fail', line: 'bandLevels.low-end', allowed: line.maxDbfs, unit: 'dBFS' })
      expect(found.measured).toBeCloseTo(at.shortTerm, 2)
      expect(found.at.startSeconds).toBeCloseTo(at.seconds, 1)
      expect(found.message).toMatch(/short-term level of the low end \(30 to 120 Hz\) at .* above the allowed/)
      const warning = specFile('warning', { bandLevels: [{ ...line, severity: 'warn' }] })
      const warned = await plimsollMust(['measure', mix, '--spec', warning, '--json'], 1)
      expect(bandFindings(warned.json().files[0])).toMatchObject([{ severity: 'warn' }])
      const words = (await plimsollMust(['measure', mix, '--spec', specFile('low', { bandLevels: [line] })], 1)).stdout
      expect(words).toMatch(/NOT MET .*short-term level of the low end/)
      const shown = (await plimsollMust(['specs', 'show', specFile('low', { bandLevels: [line] })], 0)).stdout
      expect(shown).toMatch(/max low-end +−\d+\.0 dBFS in any 3 s, 30 to 120 Hz\n +Harbour Television 1986, 7\.2/)
    },
    PREPARATION_MS,
  )
})

describe('a line for programmes of a length', () => {
  const shortForm = { value: -23, length: { atMostSeconds: 30 } }
  const longForm = { value: -23, length: { moreThanSeconds: 30 } }

  test(
    'is judged where the programme has it, and told where it has not',
    async () => {
      const judged = async (name: string, maxShortTermLkfs: object) => {
        const run = await plimsollMust(['measure', mix, '--spec', specFile(name, { maxShortTermLkfs }), '--json'], 1)
        return run.json().files[0]
      }
      const idsOf = ({ findings }: Document) => new Set(findings.map(({ id }: { id: string }) => id))
      const long = await judged('long-form', longForm)
      expect(idsOf(long)).toContain('short-term')
      expect(idsOf(long)).not.toContain('line-of-other-length')
      const short = await judged('short-form', shortForm)
      expect(idsOf(short)).not.toContain('short-term')
      const note = short.findings.find(({ id }: { id: string }) => id === 'line-of-other-length')
      expect(note).toMatchObject({ severity: 'note', line: 'maxShortTermLkfs' })
      expect(note.message).toMatch(
        /short-term loudness holds for programmes of at most 30\.0 s, and this one lasts 32\.0 s/,
      )
      expect(short.margins.map(({ line }: { line: string }) => line)).not.toContain('maxShortTermLkfs')
    },
    PREPARATION_MS,
  )

  test(
    'moves nothing in a programme of another length: the bytes are those of a spec without it',
    async () => {
      const delivered = async (name: string, lines: object) => {
        const out = join(folder, name)
        const run = await plimsollMust(
          ['deliver', mix, '--spec', specFile(`${name}-spec`, lines), '--out', out, '--json'],
          0,
        )
        return { report: run.json(), bytes: readFileSync(join(out, run.json().deliverables[0].path)) }
      }
      const [without, other] = [
        await delivered('without', {}),
        await delivered('other', { maxShortTermLkfs: shortForm }),
      ]
      expect(other.bytes.equals(without.bytes)).toBe(true)
      const html = readFileSync(join(folder, 'other', 'report.html'), 'utf8')
      expect(html).toMatch(/short-term loudness holds for programmes of at most/)
    },
    PREPARATION_MS,
  )

  test(
    'a sheet may give it another number, the length stays',
    async () => {
      const sheet = join(folder, 'regatta.sheet.json')
      const sources = [{ path: 'mix.wav', role: 'programme', layout: '5.1' }]
      const spec = { path: 'short-form.json', override: { maxShortTermLkfs: -22 } }
      specFile('short-form', { maxShortTermLkfs: shortForm })
      const title = { id: 'regatta', name: 'Regatta' }
      writeFileSync(sheet, JSON.stringify({ sheetVersion: 1, title, sources, spec }))
      const out = join(folder, 'by-sheet')
      const run = await plimsollMust(['deliver', sheet, '--out', out, '--json'], 0)
      expect(run.json().findings.map(({ id }: { id: string }) => id)).toContain('line-of-other-length')
    },
    PREPARATION_MS,
  )
})
