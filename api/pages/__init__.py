"""What all pages share: sign-in, words, texts."""
