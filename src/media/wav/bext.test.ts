import { describe, expect, test } from 'vitest'
import { type Bext, encodeBext, parseBext } from './bext.ts'

const HARBOUR_DAY: Bext = {
  description: 'Harbour Day, full mix 5.1',
  originator: 'plimsoll',
  originatorReference: 'saltmarsh-103',
  originationDate: '1986-05-17',
  originationTime: '10:00:00',
  timeReferenceSamples: 172_800_000,
  umid: '060a2b340101010501010d4313000000'.repeat(4),
  loudness: {
    programmeLoudnessLkfs: -24,
    loudnessRangeLu: 7.5,
    maxTruePeakDbtp: -2.1,
    maxMomentaryLkfs: -15.3,
    maxShortTermLkfs: -18.2,
  },
  codingHistory: 'A=PCM,F=48000,W=24,M=multi,T=plimsoll\r\n',
}

describe('bext version 2 (EBU Tech 3285 v2)', () => {
  test('fields stand at the offsets of the document', () => {
    const body = encodeBext(HARBOUR_DAY)
    expect(body.length).toBe(602 + HARBOUR_DAY.codingHistory.length + 1)
    expect(body.toString('latin1', 0, 25)).toBe('Harbour Day, full mix 5.1')
    expect(body.toString('latin1', 256, 264)).toBe('plimsoll')
    expect(body.toString('latin1', 288, 301)).toBe('saltmarsh-103')
    expect(body.toString('latin1', 320, 338)).toBe('1986-05-1710:00:00')
    // 01:00:00 at 48 kHz; the bytes are those that sndfile-metadata-set (libsndfile 1.2.0) writes.
    expect(body.toString('hex', 338, 346)).toBe('00b84c0a00000000')
    expect(body.readUInt16LE(346)).toBe(2)
    // The bytes that sndfile-metadata-set writes for -24.0, 7.5, -2.1, -15.3, -18.2.
    expect(body.toString('hex', 412, 422)).toBe('a0f6ee022eff06fae4f8')
    expect(body.subarray(422, 602).every((byte) => byte === 0)).toBe(true)
    expect(body.toString('latin1', 602)).toBe(`${HARBOUR_DAY.codingHistory}\0`)
  })

  test('what is written is read again', () => {
    expect(parseBext(encodeBext(HARBOUR_DAY))).toEqual({ bext: HARBOUR_DAY, findings: [] })
  })

  test('a loudness that is not known is 0x7FFF, and the length of the chunk does not depend on it', () => {
    const unknown = encodeBext({ ...HARBOUR_DAY, loudness: null })
    expect(unknown.toString('hex', 412, 422)).toBe('ff7f'.repeat(5))
    expect(unknown.length).toBe(encodeBext(HARBOUR_DAY).length)
    const silent = { ...HARBOUR_DAY.loudness!, maxTruePeakDbtp: Number.NEGATIVE_INFINITY, loudnessRangeLu: Number.NaN }
    const read = parseBext(encodeBext({ ...HARBOUR_DAY, loudness: silent })).bext?.loudness
    expect(read).toEqual({ ...HARBOUR_DAY.loudness, maxTruePeakDbtp: null, loudnessRangeLu: null })
  })

  test('hundredths are rounded to the nearest, halves away from zero', () => {
    // The document's example, from memory: -22.644 is stored as -2264 and -22.645 as -2265.
    const stored = (value: number) =>
      encodeBext({ ...HARBOUR_DAY, loudness: { ...HARBOUR_DAY.loudness!, programmeLoudnessLkfs: value } }).readInt16LE(
        412,
      )
    expect([stored(-22.644), stored(-22.645), stored(-22.646), stored(0.125)]).toEqual([-2264, -2265, -2265, 13])
  })

  test('texts are cut to their fields and to ASCII', () => {
    const body = encodeBext({ ...HARBOUR_DAY, description: 'é'.repeat(300), originationDate: '1986-05-17T10' })
    expect(body.toString('latin1', 0, 257)).toBe(`${'?'.repeat(256)}p`)
    expect(body.toString('latin1', 320, 331)).toBe('1986-05-171')
  })

  test('versions 0 and 1 have no loudness, version 0 no UMID', () => {
    const body = encodeBext(HARBOUR_DAY)
    body.writeUInt16LE(1, 346)
    expect(parseBext(body).bext).toEqual({ ...HARBOUR_DAY, loudness: null })
    body.writeUInt16LE(0, 346)
    expect(parseBext(body).bext).toEqual({ ...HARBOUR_DAY, loudness: null, umid: null })
  })

  test('a chunk that is too short, and a time reference that no file can have', () => {
    expect(parseBext(Buffer.alloc(100))).toMatchObject({
      bext: null,
      findings: [{ id: 'short-bext', severity: 'note' }],
    })
    const body = encodeBext(HARBOUR_DAY)
    body.writeBigUInt64LE(0xffffffffffffffffn, 338)
    expect(parseBext(body)).toMatchObject({ bext: { timeReferenceSamples: 0 }, findings: [{ id: 'time-reference' }] })
  })
})
