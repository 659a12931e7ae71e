// An independent look at a delivery: whatever was done to it afterwards is found from the bytes alone.
import { execFileSync } from 'node:child_process'
import { cpSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { verifyDocument } from '../../src/protocol/index.ts'
import { fileFolder, ownFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { ffmpeg, mixMaster } from '../testkit/cli-programmes.ts'
import { readWavByFfmpeg, sha256 } from '../testkit/outside.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)
const SPEC = ['--spec', 'atsc-a85-short']

beforeAll(async () => {
  mixMaster(at('master.wav'), { musicDb: -24, speechDb: -6, seconds: 20 })
  await plimsollMust(['deliver', at('master.wav'), ...SPEC, '--out', at('delivery')], 0)
  await plimsollMust(['deliver', at('master.wav'), '--spec', 'ebu-r128', '--out', at('other')], 0)
}, PREPARATION_MS)

// Mono by ITU-R BS.775-4 Table 2, row 1/0, made by FFmpeg; Lt/Rt as `fold` writes it, which test/peers/fold.test.ts holds
// against SciPy. Both read by FFmpeg.
test('every fold-down law of the delivered 5.1 stands in its report', async () => {
  const mix = at('delivery/master_51.wav')
  const law = '0.70710678*FL+0.70710678*FR+FC+0.5*SL+0.5*SR'
  ffmpeg('-i', mix, '-af', `aformat=channel_layouts=5.1(side),pan=mono|c0=${law}`, '-c:a', 'pcm_f32le', at('mono.wav'))
  await plimsollMust(['fold', mix, at('lt-rt.wav'), '--to', 'lt-rt', '--bits', '32f'], 0)
  const report = JSON.parse(readFileSync(at('delivery/report.json'), 'utf8'))
  const { mono, ltRt } = report.deliverables[0].measurements.foldDown
  for (const [figures, file] of [
    [mono, 'mono.wav'],
    [ltRt, 'lt-rt.wav'],
  ] as const) {
    const read = readWavByFfmpeg(at(file))
    expect(Math.abs(figures.programmeLoudnessLkfs - read.programmeLoudnessLkfs)).toBeLessThan(0.01)
    // FFmpeg reads every 100 ms, we every 10.
    expect(figures.maxShortTermLkfs - read.maxShortTermLkfs).toBeGreaterThan(-0.01)
    expect(figures.maxShortTermLkfs - read.maxShortTermLkfs).toBeLessThan(0.2)
    expect(Math.abs(figures.maxTruePeakDbtp - read.maxTruePeakDbtp)).toBeLessThan(0.2)
  }
})

describe('verify finds what is not as it was delivered', () => {
  /** A copy of the delivery with something done to it, and what verify says of it. */
  async function findingsAfter(harm: (copy: string) => void): Promise<readonly string[]> {
    const copy = join(ownFolder(), 'copy')
    cpSync(at('delivery'), copy, { recursive: true })
    harm(copy)
    const document = (await plimsollMust(['verify', copy, ...SPEC, '--json'], 1)).json()
    expect(verifyDocument.parse(document)).toEqual(document)
    expect(document.conforms).toBe(false)
    const text = (await plimsollMust(['verify', copy, ...SPEC], 1)).stdout
    expect(text).toMatch(/NOT MET/)
    return document.findings
      .filter(({ severity }: { severity: string }) => severity === 'fail')
      .map(({ id, message }: { id: string; message: string }) => `${id}: ${message}`)
  }

  function flipBit(path: string, byte: number): void {
    const bytes = readFileSync(path)
    bytes[byte < 0 ? bytes.length + byte : byte]! ^= 1
    writeFileSync(path, bytes)
  }

  test.each(['master_51.wav', 'master_20.wav', 'report.html', 'report.pdf', 'report.json', 'plan.json', 'sha256.txt'])(
    'one bit in %s',
    async (name) => {
      const findings = await findingsAfter((copy) => flipBit(join(copy, name), -100))
      expect(findings).toHaveLength(1)
      expect(findings[0]).toMatch(new RegExp(`^checksum: .*${name}`))
    },
  )

  test.each(['master_51.wav', 'master_20.wav', 'report.json'])('%s is missing', async (name) => {
    const findings = await findingsAfter((copy) => rmSync(join(copy, name)))
    expect(findings).toEqual([expect.stringMatching(new RegExp(`^file-missing: .*${name}`))])
  })

  test('a file that was cut short, or made longer', async () => {
    const short = await findingsAfter((copy) =>
      writeFileSync(join(copy, 'master_20.wav'), readFileSync(join(copy, 'master_20.wav')).subarray(0, -6)),
    )
    expect(short[0]).toMatch(/^checksum/)
    const long = await findingsAfter((copy) => writeFileSync(join(copy, 'report.json'), ' ', { flag: 'a' }))
    expect(long[0]).toMatch(/^checksum/)
  })

  test('files that have changed places', async () => {
    const findings = await findingsAfter((copy) => {
      const [mix, stereo] = [join(copy, 'master_51.wav'), join(copy, 'master_20.wav')]
      renameSync(mix, `${mix}.x`)
      renameSync(stereo, mix)
      renameSync(`${mix}.x`, stereo)
    })
    expect(findings.filter((finding) => finding.startsWith('checksum'))).toHaveLength(2)
  })

  test('audio of another delivery', async () => {
    const findings = await findingsAfter((copy) => cpSync(at('other/master_20.wav'), join(copy, 'master_20.wav')))
    expect(findings).toEqual([expect.stringMatching(/^checksum: .*master_20[.]wav/)])
  })

  /** Brings the manifest in line with what lies there now, as somebody would who wants it to go unnoticed. */
  function forge(copy: string, name: string): void {
    const path = join(copy, 'manifest.json')
    const manifest = JSON.parse(readFileSync(path, 'utf8'))
    const row = manifest.files.find((file: { path: string }) => file.path === name)
    row.sha256 = sha256(join(copy, name))
    row.bytes = readFileSync(join(copy, name)).length
    writeFileSync(path, JSON.stringify(manifest))
  }

  test('a stereo that is not the fold-down, although its checksum was made to fit', async () => {
    const findings = await findingsAfter((copy) => {
      flipBit(join(copy, 'master_20.wav'), -3000)
      forge(copy, 'master_20.wav')
    })
    expect(findings).toEqual([expect.stringMatching(/^fold-down-lock: .*\b1 (?:sample|of)/)])
  })

  test('audio that stands 1 dB too loud, although everything else was made to fit', async () => {
    const findings = await findingsAfter((copy) => {
      for (const name of ['master_51.wav', 'master_20.wav']) {
        execFileSync('sox', ['-D', join(at('delivery'), name), join(copy, name), 'gain', '3'], { stdio: 'ignore' })
        forge(copy, name)
      }
    })
    expect(findings.some((finding) => finding.startsWith('programme-loudness'))).toBe(true)
  })

  test('a manifest that lists no audio any more', async () => {
    const findings = await findingsAfter((copy) => {
      const path = join(copy, 'manifest.json')
      const manifest = JSON.parse(readFileSync(path, 'utf8'))
      const files = manifest.files.filter(({ role }: { role: string }) => role === 'report')
      writeFileSync(path, JSON.stringify({ ...manifest, files }))
    })
    expect(findings).toEqual([expect.stringMatching(/^no-audio/)])
  })

  test('a delivery that is whole passes, and so does its stereo alone; by another spec it does not', async () => {
    await plimsollMust(['verify', at('delivery'), ...SPEC], 0)
    await plimsollMust(['verify', at('delivery/master_20.wav'), ...SPEC], 0)
    await plimsollMust(['verify', at('delivery'), '--spec', 'ebu-r128'], 1)
  })
})
