/**
 * Reads the constant float32 tensors of an ONNX model, those inside its branches too, by name. Of several constants of
 * one name the last counts; other types are passed over.
 * @source ONNX, onnx.proto: ModelProto.graph = 7; GraphProto.node = 1; NodeProto.output = 2, op_type = 4,
 * attribute = 5; AttributeProto.t = 5, g = 6; TensorProto.data_type = 2, raw_data = 9
 */
export function readConstants(model: Uint8Array): ReadonlyMap<string, Float32Array> {
  const tensors = new Map<string, Float32Array>()
  for (const graph of parts(model, 7)) readGraph(graph, tensors)
  return tensors
}

/** @source onnx.proto, TensorProto.DataType */
const FLOAT = 1

function readGraph(graph: Uint8Array, tensors: Map<string, Float32Array>): void {
  for (const node of parts(graph, 1)) {
    const [output] = parts(node, 2)
    for (const attribute of parts(node, 5)) {
      for (const branch of parts(attribute, 6)) readGraph(branch, tensors)
      for (const tensor of parts(attribute, 5)) {
        const [raw] = parts(tensor, 9)
        const isFloat = fields(tensor).some(({ id, value }) => id === 2 && value === FLOAT)
        if (isFloat && raw !== undefined && output !== undefined) tensors.set(text(output), floats(raw))
      }
    }
  }
}

function text(bytes: Uint8Array): string {
  return new TextDecoder().decode(bytes)
}

function floats(bytes: Uint8Array): Float32Array {
  return new Float32Array(new Uint8Array(bytes).buffer)
}

type Field = { readonly id: number; readonly value: number | Uint8Array }

function parts(message: Uint8Array, wanted: number): Uint8Array[] {
  return fields(message).flatMap(({ id, value }) => (id === wanted && typeof value !== 'number' ? [value] : []))
}

/** @source Protocol Buffers, "Encoding": varints, and the wire types 0 (varint), 1 (64 bit), 2 (length), 5 (32 bit) */
function fields(message: Uint8Array): readonly Field[] {
  const found: Field[] = []
  let at = 0
  const varint = (): number => {
    let value = 0
    for (let scale = 1; ; scale *= 128) {
      const byte = message[at++]
      if (byte === undefined) throw new RangeError('a model ends inside a number')
      value += (byte & 127) * scale
      if (byte < 128) return value
    }
  }
  while (at < message.length) {
    const key = varint()
    const [id, wireType] = [Math.floor(key / 8), key % 8]
    if (wireType === 0) found.push({ id, value: varint() })
    else {
      const length = wireType === 2 ? varint() : wireType === 1 ? 8 : 4
      found.push({ id, value: message.subarray(at, at + length) })
      at += length
    }
  }
  return found
}
