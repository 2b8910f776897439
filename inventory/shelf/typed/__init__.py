"""Numbers of forms typed and shown in the units of whoever fills them in, where they are kept as mm or g."""
