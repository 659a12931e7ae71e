import { type Finding, LAYOUTS, type LayoutName } from '../domain/index.ts'
import { unreadable } from './refusals.ts'

/** Orders in which the channels of a 5.0 or 5.1 lie when no header tells. */
export type ChannelOrder = 'itu' | 'film' | 'aac'

/** What the user says about the channels; it outranks the header. */
export type ChannelOptions = { readonly layout?: LayoutName | undefined; readonly order?: ChannelOrder | undefined }

export type ChannelAssignment = {
  /** Null where neither the header nor the user tells. */
  readonly layout: LayoutName | null
  /** The layout under which the file can be opened as it stands, to look at its channels. */
  readonly openAs: LayoutName
  /** `channelOrder[i]` = index in the file of the i-th channel of `LAYOUTS[openAs]`; null = as it stands. */
  readonly channelOrder: readonly number[] | null
  readonly findings: readonly Finding[]
}

const LAYOUT_OF_COUNT: ReadonlyMap<number, LayoutName> = new Map([
  [1, 'mono'],
  [2, '2.0'],
  [5, '5.0'],
  [6, '5.1'],
  [8, '7.1'],
])

/**
 * Channels lie in the file in ascending order of the mask bits, so the rear pair of a 7.1 comes before its side pair.
 * @source WAVE_FORMAT_EXTENSIBLE dwChannelMask; ITU-R BS.2051 system I for the roles of 7.1
 */
export const REAR_BEFORE_SIDE: readonly number[] = [0, 1, 2, 3, 6, 7, 4, 5]

const MASKS: ReadonlyMap<number, LayoutName> = new Map([
  [0x4, 'mono'],
  [0x3, '2.0'],
  [0x37, '5.0'],
  [0x607, '5.0'],
  [0x3f, '5.1'],
  [0x60f, '5.1'],
  [0x63f, '7.1'],
])

/** Film: L C R Ls Rs LFE (common practice). AAC: C L R Ls Rs LFE (ISO/IEC 14496-3, channelConfiguration 6). */
const ORDERS: Readonly<Record<'film' | 'aac', Partial<Record<LayoutName, readonly number[]>>>> = {
  film: { '5.0': [0, 2, 1, 3, 4], '5.1': [0, 2, 1, 5, 3, 4] },
  aac: { '5.0': [1, 2, 0, 3, 4], '5.1': [1, 2, 0, 5, 3, 4] },
}

/**
 * Finds the layout of a file and where its channels lie, from the user's word, else from the channel mask.
 * `channelMask` is null where the header carries none. One and two channels are mono and 2.0 whatever the mask says.
 * Refuses counts, masks and requests that fit no supported layout.
 */
export function assignChannels(
  path: string,
  channelCount: number,
  channelMask: number | null,
  options: ChannelOptions,
): ChannelAssignment {
  if (channelCount === 0) throw unreadable('MEDIA_NO_CHANNELS', path, '0 channels')
  const openAs = LAYOUT_OF_COUNT.get(channelCount)
  if (openAs === undefined) throw unreadable('MEDIA_CHANNEL_COUNT', path, `${channelCount} channels`)
  if (options.layout !== undefined && options.layout !== openAs) {
    const asked = `${LAYOUTS[options.layout].length} of layout ${options.layout}`
    throw unreadable('MEDIA_LAYOUT_MISMATCH', path, `${channelCount} channels instead of the ${asked}`)
  }
  if (options.order !== undefined) return inOrder(path, openAs, options.order)
  if (channelCount <= 2)
    return { layout: openAs, openAs, channelOrder: null, findings: oddMask(channelCount, channelMask) }

  const told = channelMask === null ? undefined : MASKS.get(channelMask)
  if (told === openAs) {
    return { layout: openAs, openAs, channelOrder: openAs === '7.1' ? REAR_BEFORE_SIDE : null, findings: [] }
  }
  if (options.layout !== undefined) return inOrder(path, openAs, 'itu')
  if (channelMask !== null && loudspeakerCount(channelMask) === channelCount) {
    throw unreadable('MEDIA_CHANNEL_MASK', path, `the channel mask ${hex(channelMask)} on ${channelCount} channels`)
  }
  return { layout: null, openAs, channelOrder: null, findings: oddMask(channelCount, channelMask) }
}

function inOrder(path: string, openAs: LayoutName, order: ChannelOrder): ChannelAssignment {
  const channelOrder = order === 'itu' ? null : ORDERS[order][openAs]
  if (channelOrder === undefined) {
    throw unreadable('MEDIA_LAYOUT_MISMATCH', path, `the order "${order}", which ${openAs} does not have`)
  }
  return { layout: openAs, openAs, channelOrder, findings: [] }
}

function loudspeakerCount(mask: number): number {
  let count = 0
  for (let rest = mask; rest > 0; rest = Math.floor(rest / 2)) count += rest % 2
  return count
}

function hex(mask: number): string {
  return `0x${mask.toString(16).toUpperCase()}`
}

function oddMask(channelCount: number, channelMask: number | null): Finding[] {
  if (channelMask === null || channelMask === 0) return []
  const told = MASKS.get(channelMask)
  if (told !== undefined && LAYOUTS[told].length === channelCount) return []
  return [
    {
      id: 'odd-channel-mask',
      severity: 'note',
      line: null,
      measured: channelMask,
      allowed: null,
      unit: null,
      at: null,
      source: 'WAVE_FORMAT_EXTENSIBLE dwChannelMask',
      message: `The channel mask ${hex(channelMask)} does not describe ${channelCount} channels and is not followed.`,
    },
  ]
}
