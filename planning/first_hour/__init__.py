"""The first hour: from one stitch file to an honest answer in a workshop that has nothing on its shelf yet."""
