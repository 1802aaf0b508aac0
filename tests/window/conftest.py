"""Nothing here is pytest's: the walk runs in a Blender with a window (`python3 build.py test --window`)."""

collect_ignore_glob = ["*.py"]
