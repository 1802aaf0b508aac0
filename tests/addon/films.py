"""What tests read of films."""


def read_film(path):
    """Codec, size, rate and every frame as RGB, through PyAV."""
    import av

    with av.open(str(path)) as film:
        stream = film.streams.video[0]
        frames = [frame.to_ndarray(format="rgb24").astype(float) for frame in film.decode(stream)]
        return stream.codec_context.name, (stream.width, stream.height), float(stream.average_rate), frames
