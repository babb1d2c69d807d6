"""The rim: folders, photo files, the marking page, the command line, results, batch."""
