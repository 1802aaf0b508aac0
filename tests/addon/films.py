"""What tests read of films."""

import json
import os
import subprocess
import sys


def read_film(path):
    """Codec, size, rate and every frame as RGB, through PyAV."""
    import av

    with av.open(str(path)) as film:
        stream = film.streams.video[0]
        frames = [frame.to_ndarray(format="rgb24").astype(float) for frame in film.decode(stream)]
        return stream.codec_context.name, (stream.width, stream.height), float(stream.average_rate), frames


def probed(film):
    """What ffprobe says of a film."""
    entries = "stream=codec_name,width,height,nb_read_frames"
    command = ["ffprobe", "-v", "error", "-count_frames", "-show_entries", entries, "-of", "json", str(film)]
    return json.loads(subprocess.run(command, capture_output=True, check=True).stdout)["streams"][0]


def batch(package, tmp_path, *words):
    """Run the command line in a process of its own."""
    environment = {**os.environ, "PYTHONPATH": str(package), "BLENDER_USER_RESOURCES": str(tmp_path / "user")}
    command = [sys.executable, "-m", "hingeleaf.batch", *map(str, words)]
    return subprocess.run(command, env=environment, capture_output=True, text=True, timeout=300)
