"""Parts of `tripfile`: a trip as its file tells it, made of what the file names."""
