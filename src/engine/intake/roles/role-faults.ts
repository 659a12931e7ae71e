import { powerToDb, printFigure, type Role, type RoleFault } from '../../../domain/index.ts'
import { isFullRange, isLowBandOnly, SILENT_POWER } from './order.ts'
import type { RolesSummary } from './summary.ts'

/** What is left of a channel when its copy is taken away: -40 dB. */
const COPY_REST = 1e-4
/** Two channels of a pair that cancel more than they add: over all, and over the spectrum, where bass does not rule. */
const INVERTED_CORRELATION = -0.3
const INVERTED_IN_PHASE = -0.02
/** A third channel that is in phase with both, or as much against one as with the other, by at least this much, tells. */
const TELLING_IN_PHASE = 0.03
/** Where they cancel this much no third channel is asked: what was made of them later would be in phase with both. */
const CANCELLING_CORRELATION = -0.6
/** What relates to two channels alike relates to one at least this share as much as to the other. */
const ALIKE = 0.5
/** Same-side coherences exceed cross-side ones by this in a segment for it to tell; so many must tell, and agree. */
const TELLING_COHERENCE = 0.03
const FEWEST_TELLING = 2
const AGREEING_SHARE = 0.8
/** Surrounds that are this much louder than the fronts, and nearer to the centre by this coherence. */
const LOUD_SURROUNDS_DB = 3
const NEAR_CENTRE = 0.1
/** Speech raises the channel that carries it at least this much, and by this much more than the centre. */
const LEAST_RISE_DB = 4
const RISE_DIFFERENCE_DB = 4
/** Without a speech lane: speech moves by 8 to 12 dB from window to window, music by 1 to 5. */
const SPEECH_LIVELINESS_DB = 7
const MUSIC_LIVELINESS_DB = 4
/** Or it moves more than all others by this much, while C goes with the other front by this coherence more than it does. */
const LIVELIER_DB = 1.2
const FRONT_COHERENCE = 0.08

export function findRoleFaults(summary: RolesSummary, roles: readonly Role[], isOrderWrong: boolean): RoleFault[] {
  const at = (role: Role) => roles.indexOf(role)
  const surrounds = [at('Ls'), at('Rs')] as const
  return [
    ...silentChannels(summary, roles),
    ...duplicates(summary, roles),
    ...(isOrderWrong ? [] : bandFaults(summary, roles)),
    ...(isOrderWrong ? [] : invertedPairs(summary, roles)),
    ...(isOrderWrong ? [] : swappedSides(summary, roles, surrounds)),
    ...(isOrderWrong ? [] : swappedFronts(summary, roles, surrounds)),
    ...(isOrderWrong ? [] : dialogueElsewhere(summary, roles, at('C'))),
  ]
}

function silentChannels(summary: RolesSummary, roles: readonly Role[]): RoleFault[] {
  const silent = roles.filter((role, channel) => role !== 'LFE' && summary.powers[channel]! < SILENT_POWER)
  if (silent.length === 0 || silent.length === roles.filter((role) => role !== 'LFE').length) return []
  return [
    {
      kind: 'silent',
      channels: silent,
      confidence: 0.95,
      evidence: [`${silent.join(', ')} stay below -90 dBFS over the whole programme.`],
      remedy: 'Check that nothing was lost; a layout with fewer channels may be meant.',
    },
  ]
}

function duplicates(summary: RolesSummary, roles: readonly Role[]): RoleFault[] {
  return pairsOf(roles).flatMap(([a, b]): RoleFault[] => {
    if (Math.min(summary.powers[a]!, summary.powers[b]!) < SILENT_POWER) return []
    const { correlation } = summary.pair(a, b)
    if (1 - correlation * correlation > COPY_REST) return []
    const gainDb = powerToDb(summary.powers[b]! / summary.powers[a]!)
    const isInverted = correlation < 0
    const isMonoSurround = roles[a] === 'Ls' && roles[b] === 'Rs' && !isInverted
    return [
      {
        kind: isInverted ? 'inverted-duplicate' : 'duplicate',
        channels: [roles[a]!, roles[b]!],
        confidence: 0.95,
        evidence: [
          `${roles[b]} is ${isInverted ? 'an inverted' : 'a'} copy of ${roles[a]} at ${printFigure(gainDb)} dB.`,
        ],
        remedy: isMonoSurround
          ? 'A mono surround, as a matrix leaves it: keep it if it is meant.'
          : 'Check the routing; measured loudness counts both.',
      },
    ]
  })
}

function pairsOf(roles: readonly Role[]): (readonly [number, number])[] {
  return roles.flatMap((_, a) => roles.slice(a + 1).map((_, offset) => [a, a + 1 + offset] as const))
}

function bandFaults(summary: RolesSummary, roles: readonly Role[]): RoleFault[] {
  const low = roles.filter((role, channel) => role !== 'LFE' && isLowBandOnly(summary, channel))
  const isLfeFull = roles.includes('LFE') && isFullRange(summary, roles.indexOf('LFE'))
  const isSwapped = isLfeFull && low.length === 1
  const highDb = (role: Role) => powerToDb(summary.highShares[roles.indexOf(role)]! + 1e-12).toFixed(0)
  const lfe: RoleFault = {
    kind: 'full-range-lfe',
    channels: isSwapped ? ['LFE', ...low] : ['LFE'],
    confidence: isSwapped ? 0.95 : 0.85,
    evidence: [
      `The LFE has ${highDb('LFE')} dB of its energy above 250 Hz; it carries 20 to 120 Hz (ITU-R BS.775).`,
      ...(isSwapped ? [`${low[0]} has ${highDb(low[0]!)} dB there, as an LFE has.`] : []),
    ],
    remedy: isSwapped
      ? `Check whether LFE and ${low[0]} are swapped.`
      : 'Check the routing; low-pass the LFE at 120 Hz if it is meant.',
  }
  const others = (isSwapped ? [] : low).map(
    (role): RoleFault => ({
      kind: 'low-band-only',
      channels: [role],
      confidence: 0.7,
      evidence: [`${role} has ${highDb(role)} dB of its energy above 250 Hz, as an LFE has.`],
      remedy: 'Check whether the LFE lies there.',
    }),
  )
  return isLfeFull ? [lfe, ...others] : others
}

function invertedPairs(summary: RolesSummary, roles: readonly Role[]): RoleFault[] {
  const pairs = [
    ['L', 'R'],
    ['Ls', 'Rs'],
    ['Lrs', 'Rrs'],
  ] as const
  return pairs.flatMap(([left, right]): RoleFault[] => {
    const [a, b] = [roles.indexOf(left), roles.indexOf(right)]
    if (a < 0 || Math.min(summary.powers[a]!, summary.powers[b]!) < SILENT_POWER) return []
    const { correlation, inPhase } = summary.pair(a, b)
    // An exact inverted copy is told as such.
    if (inPhase >= 0 || 1 - correlation * correlation <= COPY_REST) return []
    const third = tellingChannel(summary, roles, a, b)
    const doCancel = correlation <= INVERTED_CORRELATION && inPhase <= INVERTED_IN_PHASE
    const isAgainst = third !== null && third.inPhase < 0
    if (third === null ? !doCancel : !isAgainst && !(doCancel && correlation <= CANCELLING_CORRELATION)) return []
    const cancels = `${left} and ${right} correlate at ${printFigure(correlation, 2)} over the programme`
    return [
      {
        kind: 'inverted-pair',
        channels: [left, right],
        confidence: isAgainst || correlation <= CANCELLING_CORRELATION ? Math.min(0.95, 0.6 - inPhase) : 0.5,
        evidence: [
          doCancel ? `${cancels}: they cancel.` : `${cancels}.`,
          ...(isAgainst ? [`${third.role} is in phase with one of them and against the other.`] : []),
        ],
        remedy: `Invert the polarity of ${left} or ${right} after listening to both.`,
      },
    ]
  })
}

/**
 * The other channel by which it shows how two channels stand to each other, C before all others: its in-phase part with
 * the one that it has less to do with, negative where the signs differ; null where none shows it.
 */
function tellingChannel(summary: RolesSummary, roles: readonly Role[], a: number, b: number) {
  const others = roles.flatMap((role, channel) => {
    if (channel === a || channel === b || summary.powers[channel]! < SILENT_POWER) return []
    const parts = [summary.pair(a, channel).inPhase, summary.pair(b, channel).inPhase] as const
    const [least, most] = parts.toSorted((x, y) => Math.abs(x) - Math.abs(y)) as [number, number]
    const isWithBoth = parts[0] > 0 && parts[1] > 0
    const isAgainstOne = parts[0] * parts[1] < 0 && Math.abs(least) >= ALIKE * Math.abs(most)
    if (Math.abs(least) < TELLING_IN_PHASE || !(isWithBoth || isAgainstOne)) return []
    return [{ role, inPhase: isWithBoth ? Math.abs(least) : -Math.abs(least) }]
  })
  const clearest = others.toSorted((x, y) => Math.abs(y.inPhase) - Math.abs(x.inPhase))
  return clearest.find(({ role }) => role === 'C') ?? clearest[0] ?? null
}

function swappedSides(summary: RolesSummary, roles: readonly Role[], [ls, rs]: readonly [number, number]): RoleFault[] {
  const differences = summary
    .coherences([
      [0, ls],
      [1, rs],
      [0, rs],
      [1, ls],
    ])
    .map(([sameL, sameR, crossL, crossR]) => sameL! + sameR! - crossL! - crossR!)
  const telling = differences.filter((difference) => Math.abs(difference) >= TELLING_COHERENCE)
  const crossed = telling.filter((difference) => difference < 0)
  if (telling.length < FEWEST_TELLING || crossed.length < AGREEING_SHARE * telling.length) return []
  return [
    {
      kind: 'swapped-sides',
      channels: [roles[ls]!, roles[rs]!],
      confidence: Math.min(0.9, 0.5 + 0.05 * telling.length),
      evidence: [
        `L goes with Rs and R with Ls in ${crossed.length} of ${telling.length} stretches that tell.`,
        'Either the surrounds or the fronts are swapped.',
      ],
      remedy: 'Listen for a movement from side to side, and swap the pair that is wrong.',
    },
  ]
}

function swappedFronts(
  summary: RolesSummary,
  roles: readonly Role[],
  [ls, rs]: readonly [number, number],
): RoleFault[] {
  const c = roles.indexOf('C')
  const power = (a: number, b: number) => summary.powers[a]! + summary.powers[b]!
  const differenceDb = powerToDb(power(ls, rs) + 1e-20) - powerToDb(power(0, 1) + 1e-20)
  const nearness = (channel: number) => summary.pair(c, channel).coherence ?? 0
  const behind = [nearness(ls), nearness(rs)]
  // An effect in C and in one surround is no sign: the fronts that C belongs to share with it alike.
  const areAlike = Math.min(...behind) >= ALIKE * Math.max(...behind)
  const difference = nearness(ls) + nearness(rs) - nearness(0) - nearness(1)
  if (differenceDb < LOUD_SURROUNDS_DB || difference < NEAR_CENTRE || !areAlike) return []
  return [
    {
      kind: 'swapped-front-and-surround',
      channels: ['L', 'R', 'Ls', 'Rs'],
      confidence: 0.7,
      evidence: [
        `The surrounds are ${differenceDb.toFixed(0)} dB louder than the fronts.`,
        'The centre shares its sound with the surrounds and not with the fronts.',
      ],
      remedy: 'Check the routing: front and surround pair may be swapped.',
    },
  ]
}

function dialogueElsewhere(summary: RolesSummary, roles: readonly Role[], c: number): RoleFault[] {
  const mains = roles.flatMap((role, channel) => (role === 'LFE' || channel === c ? [] : [channel]))
  const best = (values: readonly number[]) => mains.toSorted((a, b) => values[b]! - values[a]!)[0]!
  const rise = summary.speechRiseDb
  if (rise !== null) {
    const channel = best(rise)
    if (rise[channel]! < LEAST_RISE_DB || rise[channel]! - rise[c]! < RISE_DIFFERENCE_DB) return []
    const figures = `${printFigure(rise[channel]!, 0)} dB in ${roles[channel]}, by ${printFigure(rise[c]!, 0)} dB in C`
    return [elsewhere(roles[channel]!, 0.8, `Speech raises the level by ${figures}.`)]
  }
  const lively = summary.livelinessDb
  const channel = best(lively)
  const others = mains.filter((other) => other !== channel).map((other) => lively[other]!)
  const isSpeech = lively[channel]! >= SPEECH_LIVELINESS_DB && Math.max(...others) <= MUSIC_LIVELINESS_DB
  if (isSpeech)
    return [elsewhere(roles[channel]!, 0.5, `${roles[channel]} moves as speech does, C and the others as music does.`)]
  if (channel > 1 || lively[channel]! - Math.max(...others) < LIVELIER_DB) return []
  const own = Math.max(...[c, 1 - channel].map((other) => summary.pair(channel, other).coherence ?? 0))
  if ((summary.pair(c, 1 - channel).coherence ?? 0) - own < FRONT_COHERENCE) return []
  const front = roles[1 - channel]
  const sentence = `${roles[channel]} moves more than all others, as speech does, and C goes with ${front} as a front does.`
  return [elsewhere(roles[channel]!, 0.6, sentence)]
}

function elsewhere(role: Role, confidence: number, sentence: string): RoleFault {
  return {
    kind: 'dialogue-elsewhere',
    channels: [role, 'C'],
    confidence,
    evidence: [sentence],
    remedy: `Check whether ${role} and C are swapped.`,
  }
}
