"""What a scene file says: reading it strictly (reader), as data (data, fields), and writing it back (writer)."""
