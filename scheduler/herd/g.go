package herd
