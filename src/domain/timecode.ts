import { printTime } from './figures.ts'
import { nearestName } from './nearest-name.ts'

/** Rates at which pictures run, by the trade's names; those with a decimal are 1000/1001 of the whole rate above. */
export type FrameRateName = '23.976' | '24' | '25' | '29.97' | '30' | '48' | '50' | '59.94' | '60'

type FrameRate = {
  /** Frame numbers that a second of labels has. */
  readonly labelsPerSecond: number
  /** Frames a second of real time, as an exact fraction. */
  readonly numerator: number
  readonly denominator: number
  /** Frame numbers that are skipped in a minute that drops; null where drop-frame is not defined. */
  readonly droppedLabels: 2 | 4 | null
}

/** @source SMPTE ST 12-1 (rates to 30, drop-frame), ST 12-3 (rates above 30) */
const FRAME_RATES: Readonly<Record<FrameRateName, FrameRate>> = {
  '23.976': { labelsPerSecond: 24, numerator: 24000, denominator: 1001, droppedLabels: null },
  '24': { labelsPerSecond: 24, numerator: 24, denominator: 1, droppedLabels: null },
  '25': { labelsPerSecond: 25, numerator: 25, denominator: 1, droppedLabels: null },
  '29.97': { labelsPerSecond: 30, numerator: 30000, denominator: 1001, droppedLabels: 2 },
  '30': { labelsPerSecond: 30, numerator: 30, denominator: 1, droppedLabels: null },
  '48': { labelsPerSecond: 48, numerator: 48, denominator: 1, droppedLabels: null },
  '50': { labelsPerSecond: 50, numerator: 50, denominator: 1, droppedLabels: null },
  '59.94': { labelsPerSecond: 60, numerator: 60000, denominator: 1001, droppedLabels: 4 },
  '60': { labelsPerSecond: 60, numerator: 60, denominator: 1, droppedLabels: null },
}

export const FRAME_RATE_NAMES = Object.keys(FRAME_RATES).toSorted((a, b) => Number(a) - Number(b)) as FrameRateName[]

/** How timecode labels are counted. Made by `timecodeFormat`, which knows where drop-frame is defined. */
export type TimecodeFormat = { readonly rate: FrameRateName; readonly dropFrame: boolean }

/**
 * Which timecode label stands at which frame of the programme. Made by `clockFromLabel` or `clockFromSamples`.
 * The frames that timecode counts are called pictures, so that a frame stays what it is everywhere else: one instant
 * of audio.
 */
export type Clock = {
  readonly format: TimecodeFormat
  readonly sampleRateHz: number
  /** Number since midnight of the picture in which frame 0 of the programme lies. */
  readonly startPicture: number
  /** How far into that picture frame 0 lies, in `1 / numerator` of an audio frame (the picture rate's numerator). */
  readonly startRemainder: number
}

/** Why something is no timecode; the caller turns it into a refusal. */
export type TimecodeProblem = { readonly found: string; readonly wanted: string; readonly nearest: string | null }

const SECONDS_PER_DAY = 86400
const MINUTES_PER_DAY = 1440
/** A rate in words is one of ours when it differs by less than a fifth of the step from 24 to 23.976. */
const RATE_TOLERANCE = 0.0002

/** The rate that a number or a fraction stands for, e.g. `25`, `23.98`, `30000/1001`; null where it is none of ours. */
export function frameRateNamed(text: string): FrameRateName | null {
  const parts = /^\s*(\d+(?:\.\d+)?)\s*(?:\/\s*(\d+(?:\.\d+)?))?\s*$/.exec(text)
  if (parts === null) return null
  const perSecond = Number(parts[1]) / Number(parts[2] ?? 1)
  const isMeant = (name: FrameRateName) => {
    const { numerator, denominator } = FRAME_RATES[name]
    return Math.abs((perSecond * denominator) / numerator - 1) < RATE_TOLERANCE
  }
  return FRAME_RATE_NAMES.find(isMeant) ?? null
}

/** Pictures a second as an exact fraction. */
export function frameRateFraction(rate: FrameRateName): Pick<FrameRate, 'numerator' | 'denominator'> {
  const { numerator, denominator } = FRAME_RATES[rate]
  return { numerator, denominator }
}

/** A way of counting; refuses unknown rates, and drop-frame where it is not defined. */
export function timecodeFormat(rateText: string, dropFrame: boolean): TimecodeFormat | TimecodeProblem {
  const rate = frameRateNamed(rateText)
  if (rate === null) {
    const wanted = `one of the rates ${FRAME_RATE_NAMES.join(', ')}`
    return { found: `a frame rate of "${rateText}"`, wanted, nearest: nearestRate(rateText) }
  }
  if (dropFrame && FRAME_RATES[rate].droppedLabels === null) {
    const nearest = Number(rate) > 30 ? '59.94 drop-frame' : `${rate} without drop-frame`
    return { found: `drop-frame at ${rate}`, wanted: 'drop-frame at 29.97 or 59.94 only', nearest }
  }
  return { rate, dropFrame }
}

function nearestRate(text: string): string | null {
  const number = Number(text)
  if (!(number > 0)) return nearestName(text, FRAME_RATE_NAMES)
  const distance = (name: FrameRateName) => Math.abs(Number(name) - number)
  return FRAME_RATE_NAMES.reduce((best, name) => (distance(name) < distance(best) ? name : best))
}

export function isTimecodeProblem(value: object | number): value is TimecodeProblem {
  return typeof value === 'object' && 'wanted' in value
}

/** Numbers of pictures before the labels begin again at midnight. */
export function picturesPerDay({ rate, dropFrame }: TimecodeFormat): number {
  const { labelsPerSecond, droppedLabels } = FRAME_RATES[rate]
  const droppingMinutes = MINUTES_PER_DAY - MINUTES_PER_DAY / 10
  return SECONDS_PER_DAY * labelsPerSecond - (dropFrame ? (droppedLabels ?? 0) * droppingMinutes : 0)
}

/**
 * The label of a picture, by its number since midnight: `HH:MM:SS:FF`, or `HH:MM:SS;FF` with drop-frame. Numbers past
 * midnight begin again.
 * @source SMPTE ST 12-1: drop-frame skips the first two (at 59.94: four) labels of every minute that is no tenth
 */
export function formatLabel(format: TimecodeFormat, picture: number): string {
  const { labelsPerSecond: base, droppedLabels } = FRAME_RATES[format.rate]
  const ofDay = modulo(picture, picturesPerDay(format))
  const label = format.dropFrame ? withDropped(ofDay, base, droppedLabels ?? 0) : ofDay
  const seconds = Math.floor(label / base)
  const fields = [Math.floor(seconds / 3600), Math.floor(seconds / 60) % 60, seconds % 60]
  return `${fields.map(two).join(':')}${format.dropFrame ? ';' : ':'}${two(label % base)}`
}

/** Number of a picture as if no label had been skipped. */
function withDropped(picture: number, base: number, dropped: number): number {
  const perMinute = 60 * base - dropped
  const perTenMinutes = 600 * base - 9 * dropped
  const tens = Math.floor(picture / perTenMinutes)
  const inTen = picture % perTenMinutes
  const minutesBegun = inTen < dropped ? 0 : Math.floor((inTen - dropped) / perMinute)
  return picture + 9 * dropped * tens + dropped * minutesBegun
}

/** The number since midnight of the picture with this label; `;` and `:` are both taken for drop-frame. */
export function parseLabel(text: string, format: TimecodeFormat): number | TimecodeProblem {
  const { labelsPerSecond: base, droppedLabels } = FRAME_RATES[format.rate]
  const example = formatLabel(format, base * 36000)
  const parts = /^\s*(\d{1,2}):(\d{1,2}):(\d{1,2})([:;])(\d{1,2})\s*$/.exec(text)
  if (parts === null) {
    const wanted = `hours, minutes, seconds and frames as in ${example}`
    return { found: `"${text}"`, wanted, nearest: null }
  }
  const [hours, minutes, seconds, pictures] = [parts[1], parts[2], parts[3], parts[5]].map(Number) as Fields
  const plain = ((hours * 60 + minutes) * 60 + seconds) * base + pictures
  const minuteOfDay = hours * 60 + minutes
  const dropped = format.dropFrame ? (droppedLabels ?? 0) : 0
  const picture = plain - dropped * (minuteOfDay - Math.floor(minuteOfDay / 10))
  const nearest = formatLabel(format, carried(plain, format))
  if (parts[4] === ';' && !format.dropFrame) {
    return { found: `the drop-frame label "${text}"`, wanted: `${inWords(format)} as in ${example}`, nearest }
  }
  const wrong = fieldOutOfRange([hours, minutes, seconds, pictures], base)
  if (wrong !== null) return { found: `"${text}"`, wanted: wrong, nearest }
  if (seconds === 0 && pictures < dropped && minutes % 10 !== 0) {
    const wanted = `a label that exists: ${inWords(format)} skips ;00 to ;${two(dropped - 1)} in this minute`
    return { found: `"${text}"`, wanted, nearest }
  }
  return picture
}

type Fields = [hours: number, minutes: number, seconds: number, pictures: number]

/** Too many of a field count on in the next one: 60 minutes are an hour. */
function carried(plain: number, format: TimecodeFormat): number {
  const { labelsPerSecond: base, droppedLabels } = FRAME_RATES[format.rate]
  if (!format.dropFrame) return plain
  const minutes = Math.floor(plain / (60 * base))
  const inMinute = Math.max(plain % (60 * base), minutes % 10 === 0 ? 0 : (droppedLabels ?? 0))
  return minutes * 60 * base + inMinute - (droppedLabels ?? 0) * (minutes - Math.floor(minutes / 10))
}

function fieldOutOfRange([hours, minutes, seconds, pictures]: Fields, base: number): string | null {
  if (hours > 23) return 'hours from 00 to 23'
  if (minutes > 59) return 'minutes from 00 to 59'
  if (seconds > 59) return 'seconds from 00 to 59'
  return pictures >= base ? `frames from 00 to ${base - 1}` : null
}

/** The way of counting in the trade's words, e.g. `29.97 drop-frame`. */
export function inWords({ rate, dropFrame }: TimecodeFormat): string {
  if (dropFrame) return `${rate} drop-frame`
  return FRAME_RATES[rate].droppedLabels === null ? `${rate} frames a second` : `${rate} non-drop-frame`
}

/** The clock of a programme whose first frame begins the picture with this number since midnight. */
export function clockFromLabel(format: TimecodeFormat, startPicture: number, sampleRateHz: number): Clock {
  return { format, sampleRateHz, startPicture: modulo(startPicture, picturesPerDay(format)), startRemainder: 0 }
}

/**
 * The clock of a programme whose first frame lies so many audio frames after label 00:00:00:00, which need not be the
 * beginning of a picture. @source EBU Tech 3285 v2, TimeReference
 */
export function clockFromSamples(format: TimecodeFormat, sinceMidnight: number, sampleRateHz: number): Clock {
  const { numerator, denominator } = FRAME_RATES[format.rate]
  const perPicture = BigInt(denominator) * BigInt(sampleRateHz)
  const position = BigInt(sinceMidnight) * BigInt(numerator)
  return {
    format,
    sampleRateHz,
    startPicture: modulo(Number(position / perPicture), picturesPerDay(format)),
    startRemainder: Number(position % perPicture),
  }
}

/** Pictures begun since the one in which the programme starts (0 for that one), at a frame of the programme. */
export function pictureAt(clock: Clock, frameIndex: number): number {
  const { numerator, denominator } = FRAME_RATES[clock.format.rate]
  // BigInt: at 192 kHz and 59.94 the product leaves the exact numbers after 13 h.
  const position = BigInt(frameIndex) * BigInt(numerator) + BigInt(clock.startRemainder)
  return Number(position / (BigInt(denominator) * BigInt(clock.sampleRateHz)))
}

/** First frame of the programme in the picture that is so many after its first one. */
export function frameOfPicture(clock: Clock, picture: number): number {
  const { numerator, denominator } = FRAME_RATES[clock.format.rate]
  const beginning = BigInt(picture) * BigInt(denominator) * BigInt(clock.sampleRateHz) - BigInt(clock.startRemainder)
  if (beginning <= 0n) return 0
  return Number((beginning + BigInt(numerator - 1)) / BigInt(numerator))
}

/** The label of the picture in which a frame of the programme lies. */
export function labelAt(clock: Clock, frameIndex: number): string {
  return formatLabel(clock.format, clock.startPicture + pictureAt(clock, frameIndex))
}

/**
 * The first frame of the programme under a label. A label before the start of the programme is taken for one after
 * midnight, and so lies behind the end: the caller compares with the length.
 */
export function frameAt(clock: Clock, label: string): number | TimecodeProblem {
  const picture = parseLabel(label, clock.format)
  if (typeof picture !== 'number') return picture
  return frameOfPicture(clock, modulo(picture - clock.startPicture, picturesPerDay(clock.format)))
}

/** An instant as the mixer reads it: its label, or `H:MM:SS.mmm` from the first frame where there is no timecode. */
export function printInstant(clock: Clock | null, frameIndex: number, sampleRateHz: number): string {
  return clock === null ? printTime(frameIndex / sampleRateHz, 3) : labelAt(clock, frameIndex)
}

/** The frame of an instant that the mixer wrote: a label where the programme has timecode, else `H:MM:SS.mmm`. */
export function readInstant(clock: Clock | null, text: string, sampleRateHz: number): number | TimecodeProblem {
  if (clock !== null) return frameAt(clock, text)
  const parts = /^\s*(\d+):(\d{1,2}):(\d{1,2})(?:\.(\d{1,3}))?\s*$/.exec(text)
  const wanted = 'hours, minutes and seconds as in 0:12:03.500'
  if (parts === null) return { found: `"${text}"`, wanted, nearest: null }
  const [hours, minutes, seconds] = [parts[1], parts[2], parts[3]].map(Number) as [number, number, number]
  const ms = ((hours * 60 + minutes) * 60 + seconds) * 1000 + Number((parts[4] ?? '').padEnd(3, '0'))
  if (minutes > 59 || seconds > 59) {
    return { found: `"${text}"`, wanted: 'minutes and seconds from 00 to 59', nearest: printTime(ms / 1000, 3) }
  }
  return Math.round((ms * sampleRateHz) / 1000)
}

/**
 * As `readInstant`, also before the programme, at a negative frame: a label less than half a day before its start, or
 * `-H:MM:SS.mmm`.
 */
export function readInstantBeside(clock: Clock | null, text: string, sampleRateHz: number): number | TimecodeProblem {
  if (clock === null) {
    const read = readInstant(null, text.replace(/^\s*[-\u2212]/, ''), sampleRateHz)
    return typeof read === 'number' && /^\s*[-\u2212]/.test(text) ? -read : read
  }
  const picture = parseLabel(text, clock.format)
  if (typeof picture !== 'number') return picture
  const day = picturesPerDay(clock.format)
  const after = modulo(picture - clock.startPicture, day)
  if (after <= day / 2) return frameOfPicture(clock, after)
  const { numerator, denominator } = FRAME_RATES[clock.format.rate]
  return Math.ceil(((after - day) * denominator * clock.sampleRateHz - clock.startRemainder) / numerator)
}

function modulo(value: number, divisor: number): number {
  return ((value % divisor) + divisor) % divisor
}

function two(number: number): string {
  return String(number).padStart(2, '0')
}
